"""Means in a square around each cell, as SciPy's `uniform_filter` gives them.

SciPy copies each column out of the grid and back. Here the sums of a row of columns move down together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.filters.rims import NOTHING, Real, Rim, source_lines

Floats = NDArray[np.float64]
Labels = NDArray[np.int64]
ABREAST = 8
"""Rows whose sums move along together: each waits for its own last sum, so that several keep a processor busy."""


def square_mean(
    values: NDArray[Real], side_cells: int, /, *, rim: Rim = "reflect", beyond: float = 0.0
) -> NDArray[Real]:
    """(rows, cols) means in a square of so many cells a side, one cell farther up and left where that is even.

    Parameters
    ----------
    values : (rows, cols) float32 or float64
        Sums are made in float64 and kept in the precision of the values, in between as well.
    rim : what lies beyond the rim of the grid
    beyond : the value found there where that is nothing (`rim` is "constant")
    """
    if not values.size or side_cells <= 1:
        return values.copy()
    rows, cols = (source_lines(side, side_cells, rim)[side_cells - side_cells // 2 :] for side in values.shape)
    found = np.empty(values.shape, values.dtype)
    _down(np.ascontiguousarray(values), rows, side_cells, beyond, found)
    _along(found, cols, side_cells, beyond)
    return found


@compiled
def _down(values: NDArray[Real], source: Labels, side: int, beyond: float, found: NDArray[Real]) -> None:
    """Means down the columns; `source` says which row stands at each row of the first and the later squares."""
    rows, cols = values.shape
    total = np.zeros(cols)
    nothing = np.full(cols, beyond).astype(values.dtype)
    for row in range(side):
        new = values[source[row]] if source[row] != NOTHING else nothing
        for i in range(cols):
            total[i] += new[i]
    for i in range(cols):
        found[0, i] = total[i] / side
    for row in range(1, rows):
        above, below = source[row - 1], source[row + side - 1]
        old = values[above] if above != NOTHING else nothing
        new = values[below] if below != NOTHING else nothing
        for i in range(cols):
            total[i] += np.float64(new[i]) - np.float64(old[i])
            found[row, i] = total[i] / side


@compiled
def _along(values: NDArray[Real], source: Labels, side: int, beyond: float) -> None:
    """Means along the rows in the place of the values; `source` as in `_down`, for columns."""
    rows, cols = values.shape
    line = np.zeros((cols + side, ABREAST))
    total = np.empty(ABREAST)
    for first in range(0, rows, ABREAST):
        n = min(ABREAST, rows - first)
        for row in range(n):
            for i in range(cols + side - 1):
                line[i, row] = values[first + row, source[i]] if source[i] != NOTHING else beyond
        total[:] = 0.0
        for i in range(side):
            for row in range(ABREAST):
                total[row] += line[i, row]
        for row in range(n):
            values[first + row, 0] = total[row] / side
        for i in range(1, cols):
            for row in range(ABREAST):
                total[row] += line[i + side - 1, row] - line[i - 1, row]
            for row in range(n):
                values[first + row, i] = total[row] / side
