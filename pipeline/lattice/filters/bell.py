"""Weighted sums under a Gaussian bell around each cell, as SciPy's `gaussian_filter` gives them.

SciPy takes one line of cells after the other and one cell of it after the other. Here many cells of a line are summed
side by side, which a processor does at once; each single sum is made in the same order, so that not a bit differs.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.compiled import compiled
from pipeline.lattice.filters.rims import NOTHING, Real, Rim, source_lines

Floats = NDArray[np.float64]
Labels = NDArray[np.int64]
TRUNCATE = 4.0
"""Standard deviations after which the bell is cut off, as in SciPy."""
STRETCH = 1024
"""Cells that are summed side by side: few enough that their sums stay in the fastest memory of the processor."""


def gaussian(
    values: NDArray[Real], sigma_cells: float, /, *, rim: Rim = "reflect", truncate: float = TRUNCATE
) -> NDArray[Real]:
    """(rows, cols) sums under a Gaussian of this standard deviation, whose weights add up to 1.

    Parameters
    ----------
    values : (rows, cols) float32 or float64
        Sums are made in float64 and kept, also those down the columns that are summed again along the rows, in the
        precision of the values.
    rim : what lies beyond the rim of the grid
    truncate : standard deviations after which the bell is cut off
    """
    if not values.size or sigma_cells <= 1e-15:
        return values.copy()
    weights = _weights(sigma_cells, truncate)
    rows, cols = (source_lines(side, len(weights) - 1, rim) for side in values.shape)
    found = np.empty(values.shape, values.dtype)
    _down(np.ascontiguousarray(values), rows, weights, found)
    _along(found, cols, weights)
    return found


@lru_cache(maxsize=64)
def _weights(sigma_cells: float, truncate: float) -> Floats:
    """Weight of the middle, then of the cells one, two, ... away from it: what SciPy makes of a single cell of 1."""
    reach = int(truncate * sigma_cells + 0.5)
    single = np.zeros(2 * reach + 1)
    single[reach] = 1.0
    weights = ndimage.gaussian_filter1d(single, sigma_cells, truncate=truncate, mode="constant")
    return np.asarray(weights[reach:], np.float64)


@compiled
def _down(values: NDArray[Real], source: Labels, weights: Floats, found: NDArray[Real]) -> None:
    """Sums down the columns; `source` says which row stands at each row from `reach` above the grid to below it."""
    rows, cols = values.shape
    reach = len(weights) - 1
    nothing = np.zeros(STRETCH, values.dtype)
    total = np.empty(STRETCH)
    for first in range(0, cols, STRETCH):
        n = min(STRETCH, cols - first)
        for row in range(rows):
            middle = values[row, first : first + n]
            for i in range(n):
                total[i] = middle[i] * weights[0]
            for away in range(reach, 0, -1):
                above, below = source[row + reach - away], source[row + reach + away]
                one = values[above, first : first + n] if above != NOTHING else nothing[:n]
                other = values[below, first : first + n] if below != NOTHING else nothing[:n]
                weight = weights[away]
                for i in range(n):
                    total[i] += (np.float64(one[i]) + np.float64(other[i])) * weight
            for i in range(n):
                found[row, first + i] = total[i]


@compiled
def _along(values: NDArray[Real], source: Labels, weights: Floats) -> None:
    """Sums along the rows in the place of the values; `source` as in `_down`, for columns."""
    rows, cols = values.shape
    reach = len(weights) - 1
    line = np.empty(cols + 2 * reach)
    total = np.empty(STRETCH)
    for row in range(rows):
        for i in range(len(line)):
            line[i] = values[row, source[i]] if source[i] != NOTHING else 0.0
        for first in range(0, cols, STRETCH):
            n = min(STRETCH, cols - first)
            middle = line[first + reach : first + reach + n]
            for i in range(n):
                total[i] = middle[i] * weights[0]
            for away in range(reach, 0, -1):
                one = line[first + reach - away : first + reach - away + n]
                other = line[first + reach + away : first + reach + away + n]
                weight = weights[away]
                for i in range(n):
                    total[i] += (one[i] + other[i]) * weight
            for i in range(n):
                values[row, first + i] = total[i]
