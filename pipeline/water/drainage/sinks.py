"""Closed hollows in which water goes into the ground, as it would have to run uphill to leave them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.water.drainage.drainage import NO_SINKS, Drainage, Ranked, drain, lower_spill_height, spill_height

HOLLOW_MAX_DEPTH_M = 1.0
"""Depth in metres up to which water is led out of a hollow over its lowest rim: logs, the error of the bare earth and
low banks over culverts close a bed by so much. With less, streams end at each of them; with more, they are drawn uphill
out of kettle holes and dolines. Our choice."""
MOST_ROUNDS = 12
"""How often hollows are looked for again inside those that were found. Each round finds those of one more level; no
place measured needed more than five. Our choice."""


def drain_into_sinks(heights: NDArray[np.float64], /) -> tuple[Drainage, NDArray[np.int64]]:
    """Where each cell drains to, and the cells at the bottom of deep hollows, where water stays, as flat indices."""
    ranked = Ranked.of(heights)
    sinks, level = NO_SINKS, spill_height(heights, ranked=ranked)
    for _ in range(MOST_ROUNDS):
        found = _bottoms(heights, level - heights > HOLLOW_MAX_DEPTH_M)
        if not len(found):
            break
        sinks = np.union1d(sinks, found)
        lower_spill_height(heights, found, level)
    del level
    return drain(heights, sinks, ranked=ranked), sinks


def _bottoms(heights: NDArray[np.float64], deep: NDArray[np.bool_]) -> NDArray[np.int64]:
    """The lowest cell of each connected part of the mask, ties by position."""
    labels, _ = ndimage.label(deep, np.ones((3, 3), bool))
    cells = np.flatnonzero(deep)
    label, height = labels.ravel()[cells], heights.ravel()[cells]
    order = np.lexsort((cells, height, label))
    _, first = np.unique(label[order], return_index=True)
    return cells[order][first].astype(np.int64)
