"""Tops of boulders, which are smooth and closed too, told from the roofs of huts by their shape."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.lattice.grid import Mask
from pipeline.points.roofs.returns import RoofReturns

MAX_AREA_M2 = 64.0
"""Area in square metres of the largest patch that may be the top of a boulder: 8 m across. Our choice."""
MAX_HEIGHT_M = 5.0
"""Mean height above ground, in metres, from which a patch is no boulder: boulders as high are rare. Our choice."""
MIN_ROUNDNESS = 0.8
"""Roundness from which a low small patch may be a boulder: 4 pi area / perimeter^2 is 1 for a disc, 0.785 for a square
(isoperimetric quotient)."""
HUT_FILL_RATIO = 0.87
"""Share of the rectangle about it from which a round patch is a hut after all: a disc fills 0.785, and at 4 returns/m2
the hull of a hut's returns still fills 0.88."""
MIN_BEND_PER_M = 0.04
"""How far a dome falls off along every axis, in metres for each square metre of the distance from its top: a dome of 4
m over 8 m has 0.1, huts show 0.01 (measured on planted tiles)."""
TENT_FILL_RATIO = 0.92
"""Share of the rectangle about it from which a domed patch is a tent roof: boulders fill 0.72 to 0.89."""


def boulder_tops(patches: NDArray[np.signedinteger], returns: RoofReturns, tops: Mask, is_small: Mask) -> Mask:
    """(patches + 1,) bool: small patches that are low, and round without corners or domed.

    A roof falls one way or two from a ridge and runs level along it; a dome falls along every axis. Tents and hipped
    roofs do so too, but fill a rectangle. Roundness and fill are those of the convex hull of the patch's returns.

    Parameters
    ----------
    patches : (rows, cols)
        Number of the patch that each cell belongs to; 0 for none.
    tops : (n,) bool
        Returns that lie on a patch.
    is_small : (patches + 1,) bool
        Patches to be judged.
    """
    found = np.zeros(len(is_small), bool)
    patch = patches.ravel()[returns.cell]
    mine = np.flatnonzero(tops & is_small[patch])
    for number in np.unique(patch[mine]):
        of_it = mine[patch[mine] == number]
        if returns.above_m[of_it].mean() > MAX_HEIGHT_M:
            continue
        east, north, height = returns.places(of_it)
        hull = shapely.MultiPoint(np.column_stack([east, north])).convex_hull
        fill_ratio = hull.area / max(hull.minimum_rotated_rectangle.area, 1e-9)
        is_round = 4 * math.pi * hull.area > MIN_ROUNDNESS * hull.length**2
        bend_per_m = _least_bend_per_m(east, north, height)
        is_domed = bend_per_m >= MIN_BEND_PER_M and fill_ratio < TENT_FILL_RATIO
        found[number] = (is_round and fill_ratio < HUT_FILL_RATIO) or is_domed
    return found


def _least_bend_per_m(east: NDArray[np.float64], north: NDArray[np.float64], height: NDArray[np.float64]) -> float:
    """How fast a quadratic surface through the returns falls off, in m/m2, along the axis in which it falls least."""
    e, n = east - east.mean(), north - north.mean()
    found = np.linalg.lstsq(np.column_stack((np.ones(len(e)), e, n, e * e, e * n, n * n)), height, rcond=None)[0]
    curve = np.array([[found[3], found[4] / 2], [found[4] / 2, found[5]]])
    return float(-np.linalg.eigvalsh(curve).max())
