"""How far something thin stands above both sides in each cell, going on straight along."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Heights
from pipeline.manmade.tracks.strips import DIRECTIONS, along_mean, unit_along

STRIP_M = 9.0
"""Length in metres of the strips along which heights are averaged: a bush is shorter (our choice)."""


def find_ridges(heights: Heights, /, *, foot_m: float, cell_m: float) -> tuple[Heights, NDArray[np.int8]]:
    """Metres by which a ridge stands above the higher of its sides, and the number of its direction.

    Parameters
    ----------
    heights : (rows, cols) float32, none NaN
    foot_m : distance from its middle at which it has ended on both sides

    Returns
    -------
    (rows, cols) float32, 0 where none stands out; (rows, cols) int8, see `unit_along`
    """
    stands, along = np.zeros(heights.shape, np.float32), np.zeros(heights.shape, np.int8)
    foot = max(1, round(foot_m / cell_m))
    for number in range(DIRECTIONS):
        east, north = unit_along(number)
        mean = along_mean(heights, number, length_m=STRIP_M, cell_m=cell_m)
        _keep_higher(mean, round(foot * east), round(foot * north), number, stands, along)
    return stands, along


@compiled
def _keep_higher(mean: Heights, down: int, right: int, number: int, stands: Heights, along: NDArray[np.int8]) -> None:
    """Keep in place what stands higher in this direction than in those before."""
    rows, cols = mean.shape
    for row in range(rows):
        for col in range(cols):
            r, c = min(max(row + down, 0), rows - 1), min(max(col + right, 0), cols - 1)
            r2, c2 = min(max(row - down, 0), rows - 1), min(max(col - right, 0), cols - 1)
            found = mean[row, col] - max(mean[r, c], mean[r2, c2])
            if found > stands[row, col]:
                stands[row, col] = found
                along[row, col] = number
