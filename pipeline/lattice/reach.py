"""What lies near the cells of a mask."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Mask


def within_reach(cells: Mask, /, *, reach_m: float, cell_m: float) -> Mask:
    """(rows, cols) bool: cells whose centre lies at most so far from that of a set cell, which are among them."""
    return _near(cells, lambda away_cells: away_cells * cell_m <= reach_m, guess_cells=reach_m / cell_m)


def wide_enough(cells: Mask, /, *, width_m: float, cell_m: float) -> Mask:
    """(rows, cols) bool: the cells of a mask that a disc of this width inside the mask covers; none lie beyond the rim.

    What a cell becomes depends on the cells within the width alone, wherever the mask begins and ends.
    """
    half_m = width_m / 2

    def is_too_near(away_cells: float) -> bool:
        # A cell reaches half its side beyond its centre, towards the edge of the mask.
        return (away_cells - 0.5) * cell_m < half_m

    outside = np.pad(~cells, 1, constant_values=True)
    inside = ~_near(outside, is_too_near, guess_cells=half_m / cell_m + 0.5)[1:-1, 1:-1]
    return within_reach(inside, reach_m=half_m + cell_m / 2, cell_m=cell_m) & cells


def _near(cells: Mask, is_near: Callable[[float], bool], /, *, guess_cells: float) -> Mask:
    """Cells whose distance in sides of a cell from the nearest set cell is near.

    Parameters
    ----------
    is_near : says so of distances up to some limit
    guess_cells : that limit, but for rounding
    """
    near = np.zeros(cells.shape, np.bool_)
    if not cells.any():
        return near
    # Squares of distances between cells are whole numbers, which nothing rounds.
    farthest_sq = min(math.ceil(max(guess_cells, 0.0) ** 2) + 2, sum(side**2 for side in cells.shape))
    while farthest_sq >= 0 and not is_near(math.sqrt(farthest_sq)):
        farthest_sq -= 1
    if farthest_sq < 0:
        return near
    half_widths = [math.isqrt(farthest_sq - away**2) for away in range(math.isqrt(farthest_sq) + 1)]
    _spread(np.ascontiguousarray(cells), np.array(half_widths, np.int32), near)
    return near


@compiled
def _spread(cells: Mask, half_widths: NDArray[np.int32], near: Mask) -> None:
    """Set what lies in a disc around each set cell, given the disc's half widths in its middle row and those below."""
    rows, cols = cells.shape
    most = half_widths[0] + 1
    gap = np.empty(cols, np.int32)
    for row in range(rows):
        away = most
        for col in range(cols):
            away = 0 if cells[row, col] else min(away + 1, most)
            gap[col] = away
        away = most
        for col in range(cols - 1, -1, -1):
            away = 0 if cells[row, col] else min(away + 1, most)
            gap[col] = min(gap[col], away)
        if gap.min() == most:
            continue
        for down in range(-len(half_widths) + 1, len(half_widths)):
            if 0 <= row + down < rows:
                half = half_widths[abs(down)]
                found = near[row + down]
                for col in range(cols):
                    found[col] |= gap[col] <= half
