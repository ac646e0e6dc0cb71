"""How far the ground looks like a wall in each cell: a step, thin across and going on straight along."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Heights
from pipeline.manmade.tracks.strips import DIRECTIONS, along_mean, unit_along

STRIP_M = 7.0
"""Length in metres of the strips along which heights are averaged: lumps and stones are shorter (our choice)."""
HALF_STEP_M = 1.0
"""Half the width in metres of what may be a step: a wall of 1 m stands in two cells of half a metre (our choice)."""
FLANK_M = 2.0
"""Width in metres of the ground on either side of a step that must be less steep (our choice)."""
LIKE_FLANK = 1.2
"""How often the fall of the steeper ground beside a step, over as much width, is taken from that of the step: terraces
are nearly level, ledges of rock faces are not (our choice)."""


def find_steps(heights: Heights, /, *, cell_m: float) -> tuple[Heights, NDArray[np.int8]]:
    """Metres by which the ground falls more over a step than beside it, in the direction in which it does so most.

    Parameters
    ----------
    heights : (rows, cols) float32, metres, none NaN

    Returns
    -------
    (rows, cols) float32, 0 where there is no step; (rows, cols) int8, the number of the direction along it, see
    `unit_along`
    """
    step, step_along = np.zeros(heights.shape, np.float32), np.zeros(heights.shape, np.int8)
    half, flank = (max(1, round(m / cell_m)) for m in (HALF_STEP_M, FLANK_M))
    aside = np.array([-(half + flank), -half, half, half + flank], np.float64)
    for number in range(DIRECTIONS):
        east, north = unit_along(number)
        # Across to the right of the direction: rows and columns of each offset.
        down, right = np.round(aside * east).astype(np.int64), np.round(aside * north).astype(np.int64)
        # Cells lie off the places meant: on an even slope nothing may stand out all the same.
        across = down * east + right * north
        before, after = (float((across[2] - across[1]) / (across[k + 1] - across[k])) for k in (0, 2))
        mean = along_mean(heights, number, length_m=STRIP_M, cell_m=cell_m)
        _stronger(mean, down, right, (before, after), number, step, step_along)
    return step, step_along


@compiled
def _stronger(
    mean: Heights,
    down: NDArray[np.int64],
    right: NDArray[np.int64],
    as_wide: tuple[float, float],
    number: int,
    step: Heights,
    step_along: NDArray[np.int8],
) -> None:
    """Keep in place what is stronger in this direction than in those before.

    `as_wide` is how many times as wide as the ground before and after it the step is.
    """
    rows, cols = mean.shape
    at = np.zeros(4, np.float32)
    for row in range(rows):
        for col in range(cols):
            for k in range(4):
                r = min(max(row + down[k], 0), rows - 1)
                c = min(max(col + right[k], 0), cols - 1)
                at[k] = mean[r, c]
            drop = at[1] - at[2]
            before, after = (at[0] - at[1]) * as_wide[0], (at[2] - at[3]) * as_wide[1]
            if drop < 0:
                drop, before, after = -drop, -before, -after
            found = drop - LIKE_FLANK * max(before, after, 0.0)
            if found > step[row, col]:
                step[row, col] = found
                step_along[row, col] = number
