"""Questions that can be answered from one place, put together to stops."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from pipeline.lattice.grid import EastNorth

SEEN_FROM_STOP_M = 10.0
"""How far around a stop a mapper answers questions without walking on, in metres: with 15 m stops of many doubtful and
few wrong things came first (fitted on scene_a, hard_moraine and hard_karst)."""
FURTHER_SHARE = 0.5
"""Share of its minutes that a further question at the same stop takes: one stands there already (our choice)."""

Numbers = NDArray[np.float64]
Whole = NDArray[np.int64]


def stops_of(places: EastNorth, value: Numbers, /) -> Whole:
    """Stop of each question, numbered from 0 in the order of the most valuable question of each.

    The most valuable question that has no stop yet becomes one, and takes along all within SEEN_FROM_STOP_M of it.
    """
    stop = np.full(len(places), -1, np.int64)
    if not len(places):
        return stop
    tree = KDTree(places)
    n_stops = 0
    # Ties are told by place, so that the order of the rows does not matter.
    for first in np.lexsort((places[:, 0], places[:, 1], -value)):
        if stop[first] < 0:
            near = np.array(tree.query_ball_point(places[first], SEEN_FROM_STOP_M), np.int64)
            stop[near[stop[near] < 0]] = n_stops
            n_stops += 1
    return stop


def looking_minutes(stop: Whole, minutes: Numbers, n_stops: int, /) -> Numbers:
    """Minutes of looking at each stop: those of the longest question, and a share of those of the others."""
    longest = np.zeros(n_stops)
    np.maximum.at(longest, stop, minutes)
    return longest + FURTHER_SHARE * (np.bincount(stop, minutes, n_stops) - longest)
