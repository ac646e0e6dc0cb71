"""Solid ground above the surface through the lowest returns: lips of terraces, crowns of dams with steep sides.

Where the ground bends sharply, its returns lie decimetres above that surface, as high as those of heather. What tells
the two apart is how returns lie to their nearest neighbours: on solid ground on one smooth plane, however it leans; in
growth at any height.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.returns.buckets import SIDE_M, Buckets

Numbers = NDArray[np.int64]
Cells = NDArray[np.float64]

HIGHEST_M = 0.8
"""Height in metres above the surface up to which a smooth patch may be ground: from there on it may be a boulder. Our
choice."""
NEIGHBOURS = 6
"""Nearest returns through which, and the return itself, a plane is drawn: fewer lie on one plane by chance, more do not
fit on the crown of a wall. Our choice."""
SMOOTH_M = 0.07
"""Distance of these returns from their plane, as a standard deviation in metres, up to which they are smooth: the noise
of the heights and a little roughness. Fitted on relief_3506_8, hard_moraine, hard_farmland, hard_karst and
relief_3506_4: with 0.09 the agreement of hard_karst with the true ground falls below 0.93 (kappa)."""
LEAST_SMOOTH = 4
"""How many of the nearest returns must lie smooth among their own nearest: in growth single patches do so by chance.
Fitted on the same places."""
IN_PLANE_M = 0.08
"""Distance in metres from the plane of a smooth return up to which the nearest returns go with it. Our choice."""


def lies_solid(enh: EastNorthHeight, above_m: Cells, asked: Mask, /) -> Mask:
    """(n,) bool: asked returns on smooth patches, and returns beside them that lie on the same planes.

    Parameters
    ----------
    enh : (n, 3) float64, metres
        All returns up to somewhat above the height of low growth: what is near a return is sought among these.
    above_m : (n,) float64, metres above the surface through the lowest returns
    asked : (n,) bool
        Returns of which it is not known whether they are ground.
    """
    solid = np.zeros(len(enh), np.bool_)
    which = np.flatnonzero(asked & (above_m > 0) & (above_m < HIGHEST_M))
    if not len(which):
        return solid
    east, north, height = (np.ascontiguousarray(enh[:, axis]) for axis in (0, 1, 2))
    buckets = Buckets.of(east, north)
    nearest, off_m, is_smooth = _patches(buckets, height, which)
    which, nearest, off_m = which[is_smooth], nearest[is_smooth], off_m[is_smooth]
    beside = np.unique(nearest)
    smooth = np.zeros(len(enh), np.bool_)
    smooth[beside[_patches(buckets, height, beside)[2]]] = True
    is_seed = smooth[nearest].sum(axis=1) >= LEAST_SMOOTH
    solid[which[is_seed]] = True
    solid[nearest[is_seed][np.abs(off_m[is_seed]) <= IN_PLANE_M]] = True
    return solid & (above_m < HIGHEST_M)


def _patches(buckets: Buckets, height: Cells, which: Numbers, /) -> tuple[Numbers, Cells, Mask]:
    """Of k returns: their nearest, (k, 6), how far these lie off the plane, (k, 6) metres, and whether all lie smooth.

    Nothing is smooth that has fewer within the side of a bucket.
    """
    places = buckets.east, buckets.north, height
    corner = buckets.west_col, buckets.south_row, *buckets.shape
    nearest = _nearest(buckets.east, buckets.north, *corner, buckets.start, buckets.held, which)
    off_m, spread_m = _off_plane(*places, which, nearest)
    return nearest, off_m, (nearest[:, -1] >= 0) & (spread_m <= SMOOTH_M)


@compiled
def _nearest(
    east: Cells,
    north: Cells,
    west_col: int,
    south_row: int,
    rows: int,
    cols: int,
    start: Numbers,
    held: Numbers,
    which: Numbers,
) -> Numbers:
    """(k, 6) numbers of the nearest returns, the nearest first, of equally near ones the lower number; -1 for none."""
    nearest = np.full((len(which), NEIGHBOURS), -1, np.int64)
    square = np.empty(NEIGHBOURS)
    for k in range(len(which)):
        own, n = which[k], 0
        col, row = int(np.floor(east[own] / SIDE_M)) - west_col, int(np.floor(north[own] / SIDE_M)) - south_row
        for r in range(max(0, row - 1), min(rows, row + 2)):
            first, last = max(0, col - 1), min(cols - 1, col + 1)
            for at in range(start[r * cols + first], start[r * cols + last + 1]):
                i = held[at]
                away = (east[i] - east[own]) ** 2 + (north[i] - north[own]) ** 2
                if i == own or away > SIDE_M * SIDE_M:
                    continue
                place = n
                while place > 0 and (away, i) < (square[place - 1], nearest[k, place - 1]):
                    place -= 1
                if place == NEIGHBOURS:
                    continue
                n = min(n + 1, NEIGHBOURS)
                for later in range(n - 1, place, -1):
                    square[later], nearest[k, later] = square[later - 1], nearest[k, later - 1]
                square[place], nearest[k, place] = away, i
    return nearest


OWN_OFF_M = 0.15
"""Distance in metres of a return from the plane through its nearest returns alone, beyond which it is not smooth: a
return beside all of them, as at the rim of a gap, tips the plane to itself. Our choice."""
EASE_M2 = 1e-5
"""Spread in square metres that is added in every direction when a plane is drawn, so that returns in a row do not tip
it across the row. Our choice."""


@compiled
def _off_plane(east: Cells, north: Cells, height: Cells, which: Numbers, nearest: Numbers) -> tuple[Cells, Cells]:
    """Metres of the nearest returns off the plane through them and the return, (k, 6), and their spread, (k,)."""
    off, spread = np.full(nearest.shape, np.inf), np.full(len(which), np.inf)
    for k in range(len(which)):
        if nearest[k, NEIGHBOURS - 1] < 0:
            continue
        own = which[k]
        x = y = z = xx = yy = xy = xz = yz = 0.0
        for i in nearest[k]:
            e, n, h = east[i] - east[own], north[i] - north[own], height[i] - height[own]
            x, y, z = x + e, y + n, z + h
            xx, yy, xy, xz, yz = xx + e * e, yy + n * n, xy + e * n, xz + e * h, yz + n * h
        # The return itself lies at 0 and counts as one of them.
        count = NEIGHBOURS + 1
        x, y, z = x / count, y / count, z / count
        xx, yy, xy = xx / count - x * x + EASE_M2, yy / count - y * y + EASE_M2, xy / count - x * y
        xz, yz = xz / count - x * z, yz / count - y * z
        determinant = xx * yy - xy * xy
        to_east, to_north = (xz * yy - yz * xy) / determinant, (yz * xx - xz * xy) / determinant
        level = z - to_east * x - to_north * y
        total = level * level
        for j in range(NEIGHBOURS):
            i = nearest[k, j]
            rest = height[i] - height[own] - level
            off[k, j] = rest - to_east * (east[i] - east[own]) - to_north * (north[i] - north[own])
            total += off[k, j] * off[k, j]
        leverage = (1 + (x * x * yy - 2 * x * y * xy + y * y * xx) / determinant) / count
        # A plane takes three of the seven figures.
        if abs(level) <= OWN_OFF_M * (1 - leverage):
            spread[k] = np.sqrt(total / (count - 3))
    return off, spread
