"""What the returns of each cell come to: the lowest or highest of their values, their sum, their number.

`cell` holds the flat index (row * cols + col) of the cell of each of n returns, or -1 for those outside the grid, as
`Grid.cell_index` gives it; those outside are left out.
"""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Real

Kind = TypeVar("Kind", bound=np.generic)
Cells = NDArray[np.integer]
"""(n,) flat index of the cell of each return; -1 is outside."""
Shape = tuple[int, ...]
"""Rows and columns of the grid, or the number of cells of a flat one."""


def lowest_in_cells(cell: Cells, values: NDArray[Real], shape: Shape, /, *, empty: float = np.nan) -> NDArray[Real]:
    """(shape) the lowest of the values in each cell; `empty` in cells without any."""
    return _extreme(cell, values, shape, np.minimum, np.inf, empty)


def highest_in_cells(cell: Cells, values: NDArray[Real], shape: Shape, /, *, empty: float = np.nan) -> NDArray[Real]:
    """(shape) the highest of the values in each cell; `empty` in cells without any."""
    return _extreme(cell, values, shape, np.maximum, -np.inf, empty)


def sum_in_cells(cell: Cells, values: NDArray[np.generic], shape: Shape, /) -> NDArray[np.float64]:
    """(shape) the sum of the values in each cell, 0 in cells without any.

    It is taken in 64-bit floating point in the order of the returns: for whole numbers it is exact in any order.
    """
    cell, values = _inside(cell, values)
    return np.asarray(np.bincount(cell, values, minlength=math.prod(shape)), np.float64).reshape(shape)


def count_in_cells(cell: Cells, shape: Shape, /) -> NDArray[np.int64]:
    """(shape) the number of returns in each cell."""
    cell, _ = _inside(cell, cell)
    return np.bincount(cell, minlength=math.prod(shape)).reshape(shape)


def _inside(cell: Cells, values: NDArray[Kind]) -> tuple[Cells, NDArray[Kind]]:
    """The returns inside the grid; nothing is copied where all are."""
    if not len(cell) or cell.min() >= 0:
        return cell, values
    inside = cell >= 0
    return cell[inside], values[inside]


def _extreme(
    cell: Cells, values: NDArray[Real], shape: Shape, pick: np.ufunc, start: float, empty: float
) -> NDArray[Real]:
    cell, values = _inside(cell, values)
    found = np.full(math.prod(shape), start, values.dtype)
    pick.at(found, cell, values)
    if empty != start:
        found[found == start] = empty
    return found.reshape(shape)
