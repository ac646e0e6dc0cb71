"""The ground a tile covers, without the few points that lie far from all others."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Bounds

# A group with a larger share of the points is no group of strays but a part of the survey that lies apart (our choice).
_MOST_STRAYS_SHARE = 0.01


def bounds_without_strays(east: NDArray[np.float64], north: NDArray[np.float64], /, *, gap: float) -> Bounds:
    """west, south, east, north around places, without the few that lie far from all others.

    A group of at most one place in a hundred goes when an empty strip at least `gap` wide, in the units of the places,
    lies between it and the rest.
    """
    kept = np.ones(len(east), np.bool_)
    for _ in range(2):  # a second look along east, as a stray in the north may have bridged a gap
        for places in (east, north):
            kept &= _without_strays(places, kept, gap)
    return (
        float(east[kept].min()),
        float(north[kept].min()),
        float(east[kept].max()),
        float(north[kept].max()),
    )


def _without_strays(places: NDArray[np.float64], kept: NDArray[np.bool_], gap: float) -> NDArray[np.bool_]:
    """(n,) bool: places along one axis that are not in a small group beyond a gap."""
    in_order = np.sort(places[kept])
    gaps = np.flatnonzero(np.diff(in_order) >= gap)
    starts = np.concatenate(([-np.inf], in_order[gaps + 1]))
    group = np.searchsorted(starts, places, side="right") - 1
    sizes = np.bincount(group[kept], minlength=len(starts))
    is_large = sizes > _MOST_STRAYS_SHARE * kept.sum()
    # Places strewn so thinly that every group is small have no strays.
    large: NDArray[np.bool_] = is_large[group] if is_large.any() else np.ones(len(places), np.bool_)
    return large
