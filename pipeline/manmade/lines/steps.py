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
    aside = np.array([-(HALF_STEP_M + FLANK_M), -HALF_STEP_M, HALF_STEP_M, HALF_STEP_M + FLANK_M]) / cell_m
    for number in range(DIRECTIONS):
        east, north = unit_along(number)
        mean = along_mean(heights, number, length_m=STRIP_M, cell_m=cell_m)
        # Across to the right of the direction. Whole cells would lie aside of it, and make steps of even slopes.
        _stronger(mean, aside * east, aside * north, number, step, step_along)
    return step, step_along


@compiled
def _stronger(
    mean: Heights,
    down: NDArray[np.float64],
    right: NDArray[np.float64],
    number: int,
    step: Heights,
    step_along: NDArray[np.int8],
) -> None:
    """Keep in place what is stronger in this direction than in those before; the outermost cells go on."""
    rows, cols = mean.shape
    low, left = np.floor(down).astype(np.int64), np.floor(right).astype(np.int64)
    up, over = (down - low).astype(np.float32), (right - left).astype(np.float32)
    widen = np.float32(2 * HALF_STEP_M / FLANK_M)
    at = np.zeros(4, np.float32)
    one = np.float32(1)
    for row in range(rows):
        for col in range(cols):
            for k in range(4):
                r, r2 = min(max(row + low[k], 0), rows - 1), min(max(row + low[k] + 1, 0), rows - 1)
                c, c2 = min(max(col + left[k], 0), cols - 1), min(max(col + left[k] + 1, 0), cols - 1)
                at[k] = (one - up[k]) * ((one - over[k]) * mean[r, c] + over[k] * mean[r, c2])
                at[k] += up[k] * ((one - over[k]) * mean[r2, c] + over[k] * mean[r2, c2])
            drop = at[1] - at[2]
            before, after = (at[0] - at[1]) * widen, (at[2] - at[3]) * widen
            if drop < 0:
                drop, before, after = -drop, -before, -after
            found = drop - LIKE_FLANK * max(before, after, 0.0)
            if found > step[row, col]:
                step[row, col] = found
                step_along[row, col] = number
