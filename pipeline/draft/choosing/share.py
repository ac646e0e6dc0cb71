"""Boulders are drawn so that most of those on the map are there, and not only each likelier than not.

Where the draft is sure of no boulder, a dozen that are a little likelier than not would be a map on which every second
dot is wrong. A doubtful one is therefore drawn only where surer ones stand around it.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.draft.choosing.status import CANDIDATE, Limits, is_candidate
from pipeline.lattice.grid import Mask

BOULDERS = ("204", "205", "206", "207", "208", "209")
SURER_BY = 0.2
"""By how much the mean confidence of the boulders drawn is to lie above the least with which one is drawn: 0.7 where
that is 0.5, so that a runner who meets ten of them finds seven. Our choice."""
AROUND_M = 250.0
"""How far a sure boulder speaks for the doubtful ones around, in metres: what a runner sees of the map at once. Our
choice."""


def mostly_sure(features: gpd.GeoDataFrame, limits: Limits, /) -> gpd.GeoDataFrame:
    """The features, those boulders made candidates that would make the drawn ones too doubtful together.

    What a boulder is surer than the mean asked for is its surplus. A doubtful one is drawn if the surplus of boulders
    within `AROUND_M` fills what it lacks; surplus is used once, that of the nearest first, and the likeliest boulder
    is asked first. So the confidences of all drawn boulders add up to at least the mean asked for times their number.
    """
    symbol = features["symbol"].to_numpy(str)
    rows = np.flatnonzero(np.isin(symbol, BOULDERS) & ~is_candidate(features))
    if not len(rows):
        return features
    asked = np.array([min(limits.least(number) + SURER_BY, 1.0) for number in symbol[rows]])
    middle = shapely.centroid(features.geometry.to_numpy()[rows])
    place = np.column_stack((shapely.get_x(middle), shapely.get_y(middle)))
    refused = rows[_unpaid(place, features["confidence"].to_numpy(np.float64)[rows], asked)]
    changed = features.copy()
    index = features.index[refused]
    changed.loc[index, "status"] = CANDIDATE
    changed.loc[index, "evidence"] = features.loc[index, "evidence"] + "; too few surer boulders around"
    return changed


def _unpaid(place: NDArray[np.float64], sure: NDArray[np.float64], asked: NDArray[np.float64]) -> Mask:
    """(n,) bool: doubtful places whose lack is not filled by the surplus around; ties go to the north-western."""
    surplus = sure - asked
    refused = surplus < 0
    tree = cKDTree(place)
    for row in np.lexsort((place[:, 0], -place[:, 1], -surplus)):
        if surplus[row] >= 0:
            continue
        near = np.array(tree.query_ball_point(place[row], AROUND_M), np.intp)
        near = near[surplus[near] > 0]
        near = near[np.lexsort((near, np.hypot(*(place[near] - place[row]).T)))]
        if surplus[near].sum() < -surplus[row]:
            continue
        before = np.concatenate(([0.0], np.cumsum(surplus[near])[:-1]))
        surplus[near] -= np.clip(-surplus[row] - before, 0.0, surplus[near])
        surplus[row] = 0.0
        refused[row] = False
    return refused
