"""Ground up to the edge of a step, the lip of a terrace, a bank or a cliff, and what hangs in front of it.

The lowest return of a cell across an edge is the foot, so the surface through the lowest returns begins to fall up to a
cell before the edge, and the returns of the lip hang above it. They are in line with the ground behind them: mirrored
through a ground return beside it, a return of the lip comes to lie on the surface (after Axelsson 2000, who mirrors
returns at breaks of the terrain).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.points.ground.lowest import Lowest
from pipeline.returns.buckets import Buckets

LEAST_LINES = 2
"""Ground returns beside it with which a return must be in line: one may be so by chance. Our choice."""
HIGHER_SHARE = 0.5
LEAST_FALL = 2.0
"""How many tolerances the surface must lie below that line: else there is no edge. Our choice."""


def in_line_with_ground(
    enh: EastNorthHeight, lowest: Lowest, is_bare: Mask, level: NDArray[np.float64], tolerance_m: NDArray[np.float64], /
) -> Mask:
    """(n,) bool: returns in line with the ground behind an edge, no higher than that.

    Parameters
    ----------
    enh : (n, 3) float64, metres
        Returns above the surface, which are not ground as yet.
    is_bare : (rows, cols) bool
        Cells whose lowest return is ground.
    level, tolerance_m : (rows, cols) float64, metres
        Surface through those at the centres of the cells, and how far off a return may lie.
    """
    places = lowest.height, lowest.east, lowest.north, is_bare
    corner = np.array([lowest.first_col, lowest.first_row], np.int64)
    return _in_line(enh, corner, *places, level, tolerance_m, lowest.cell_m)


@compiled
def _in_line(
    enh: EastNorthHeight,
    corner: NDArray[np.int64],
    height: NDArray[np.float64],
    east: NDArray[np.float64],
    north: NDArray[np.float64],
    is_bare: Mask,
    level: NDArray[np.float64],
    tolerance_m: NDArray[np.float64],
    cell_m: float,
) -> Mask:
    rows, cols = level.shape
    found = np.zeros(len(enh), np.bool_)
    for i in range(len(enh)):
        # In cells, from the corner of the grid.
        x, y = enh[i, 0] / cell_m - corner[0], enh[i, 1] / cell_m - corner[1]
        row, col = int(np.floor(y)), int(np.floor(x))
        own, lines = _between(level, x, y), 0
        for r in range(max(0, row - 1), min(rows, row + 2)):
            for c in range(max(0, col - 1), min(cols, col + 2)):
                if not is_bare[r, c] or height[r, c] + HIGHER_SHARE * tolerance_m[row, col] < enh[i, 2]:
                    continue
                beside_x, beside_y = c + 0.5 + east[r, c] / cell_m, r + 0.5 + north[r, c] / cell_m
                beyond = _between(level, 2 * beside_x - x, 2 * beside_y - y)
                expected = 2 * height[r, c] - beyond
                if abs(enh[i, 2] - expected) <= tolerance_m[row, col]:
                    lines += expected - own >= LEAST_FALL * tolerance_m[row, col]
        found[i] = lines >= LEAST_LINES
    return found


@compiled
def _between(level: NDArray[np.float64], x: float, y: float) -> float:
    """The surface at a place in cells from the corner of the grid; beyond the outermost centres that of the rim."""
    rows, cols = level.shape
    x, y = min(max(x - 0.5, 0.0), cols - 1.0), min(max(y - 0.5, 0.0), rows - 1.0)
    col, row = min(int(x), max(cols - 2, 0)), min(int(y), max(rows - 2, 0))
    right, down = min(col + 1, cols - 1), min(row + 1, rows - 1)
    dx, dy = x - col, y - row
    near = level[row, col] * (1 - dx) + level[row, right] * dx
    far = level[down, col] * (1 - dx) + level[down, right] * dx
    return float(near * (1 - dy) + far * dy)


OVERHANG_M = 1.0
"""Metres above the surface from which a return at a cliff is asked whether it hangs in front of it, and how far below
it another return must lie to show that. Our choice."""
LOOK_M = 1.5
"""How far away, in metres, such a lower return may lie: farther uphill it may belong to the next step of the face. Our
choice."""
UPHILL_M = 0.2
"""How far uphill, in metres, it must lie at least: less is within the errors of place of a survey. Our choice."""
BESIDE_M = 0.75
"""How far it may lie to the side of the line straight uphill, in metres. Our choice."""


def overhangs(
    enh: EastNorthHeight, which: NDArray[np.int64], uphill: tuple[NDArray[np.float64], NDArray[np.float64]], /
) -> Mask:
    """(k,) bool: returns with a much lower one uphill of them: boughs in front of a cliff, as ground does not hang.

    The surface of a cliff is so steep that all between its foot and its lip is near it. With the boughs of trees that
    stand at the foot, the cliff moves metres into the valley.

    Parameters
    ----------
    enh : (n, 3) float64, metres
        All returns that may be ground.
    which : (k,) int
        Numbers of the returns asked about.
    uphill : (k,) and (k,) float64
        Rise over run of the surface there to the north and to the east.
    """
    if not len(which):
        return np.zeros(0, np.bool_)
    east, north = (np.ascontiguousarray(enh[:, axis]) for axis in (0, 1))
    buckets = Buckets.of(east, north)
    count, near = buckets.within(east[which], north[which], np.full(len(which), LOOK_M))
    of = np.repeat(np.arange(len(which)), count)
    own = which[of]
    steep = np.maximum(np.hypot(*uphill), 1e-9)
    to_north, to_east = (part[of] / steep[of] for part in uphill)
    d_east, d_north = east[near] - east[own], north[near] - north[own]
    is_behind = d_east * to_east + d_north * to_north > UPHILL_M
    is_behind &= np.abs(d_north * to_east - d_east * to_north) < BESIDE_M
    is_lower = enh[near, 2] < enh[own, 2] - OVERHANG_M
    return np.bincount(of[is_behind & is_lower], minlength=len(which)) > 0
