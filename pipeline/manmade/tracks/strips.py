"""Values taken along short straight strips: the means that show a course under the roughness of single cells."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Heights

DIRECTIONS = 16
"""Directions tried for a strip, 11.25 degrees apart: at the ends of a strip of 10 m the nearest one is half a metre
aside at most (our choice)."""


def unit_along(number: int, /) -> tuple[float, float]:
    """East and north of the unit vector along a direction: number 0 is east, counted counter-clockwise."""
    angle = np.pi * number / DIRECTIONS
    return float(np.cos(angle)), float(np.sin(angle))


def along_mean(values: Heights, number: int, /, *, length_m: float, cell_m: float) -> Heights:
    """(rows, cols) float32 mean of the cells on a straight strip one cell wide with its middle in each cell.

    The cells lie the same way around each middle and on both sides of it, so that on an even slope the mean is the
    middle's own height. Beyond the rim the outermost cells go on. No value may be NaN.

    Parameters
    ----------
    number : direction of the strip, see `unit_along`
    """
    east, north = unit_along(number)
    half = max(1, round(length_m / 2 / cell_m))
    steps = np.arange(-half, half + 1)
    down, right = np.round(-north * steps).astype(np.int64), np.round(east * steps).astype(np.int64)
    wide = np.pad(values, half, mode="edge")
    return _summed(wide, down + half, right + half, values.shape[0], values.shape[1])


@compiled
def _summed(wide: Heights, down: NDArray[np.int64], right: NDArray[np.int64], rows: int, cols: int) -> Heights:
    """Mean of the grid, shifted by so many rows and columns each time."""
    mean = np.zeros((rows, cols), np.float32)
    share = np.float32(1.0 / len(down))
    for row in range(rows):
        for k in range(len(down)):
            source = wide[row + down[k], right[k] : right[k] + cols]
            for col in range(cols):
                mean[row, col] += source[col] * share
    return mean
