"""Ground up to the edge of a step: the lip of a terrace, a bank or a cliff.

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
