"""Work on the squares of a fixed lattice, one after the other, so that a result never depends on where a grid begins.

A Fourier transform of a whole grid rounds each cell in a way that depends on the size of the grid, and two fields that
see one place in different windows may then decide differently there. A square with its margin is the same in both.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Bounds, Grid

SQUARE_M = 250.0
"""Side of the squares, metres: a field's side is a multiple, so that no square lies in two fields (our choice)."""


@dataclass(frozen=True)
class Square:
    """A square of the lattice and a margin around it, of the same size wherever it lies.

    Attributes
    ----------
    own : rows and columns of the square in the grid, cut off at the grid's rim
    inner : the same cells, in what `around` gives
    """

    own: tuple[slice, slice]
    inner: tuple[slice, slice]
    _top: int
    _left: int
    _side: int

    def around(self, values: NDArray[np.float32]) -> NDArray[np.float32]:
        """(side, side) the values of the square and its margin; 0 beyond the grid."""
        found = np.zeros((self._side, self._side), values.dtype)
        rows, cols = values.shape
        top, left = max(self._top, 0), max(self._left, 0)
        part = values[top : min(self._top + self._side, rows), left : min(self._left + self._side, cols)]
        row, col = top - self._top, left - self._left
        found[row : row + part.shape[0], col : col + part.shape[1]] = part
        return found


def squares_over(grid: Grid, where: Bounds, /, *, margin_m: float, square_m: float = SQUARE_M) -> Iterator[Square]:
    """The squares that hold some of the ground of `where` and some of the grid, with a margin each.

    The side is rounded to whole cells where it is no multiple of one.
    """
    side, margin = round(square_m / grid.cell_m), int(np.ceil(margin_m / grid.cell_m - 1e-6))
    west, south, east, north = (edge / (side * grid.cell_m) for edge in where)
    for down in range(math.ceil(north - 1e-9), math.floor(south + 1e-9), -1):
        for across in range(math.floor(west + 1e-9), math.ceil(east - 1e-9)):
            top, left = grid.north_row - down * side, across * side - grid.west_col
            rows = slice(max(top, 0), min(top + side, grid.rows))
            cols = slice(max(left, 0), min(left + side, grid.cols))
            if rows.start < rows.stop and cols.start < cols.stop:
                inner = tuple(
                    slice(cells.start - first + margin, cells.stop - first + margin)
                    for cells, first in ((rows, top), (cols, left))
                )
                yield Square((rows, cols), (inner[0], inner[1]), top - margin, left - margin, side + 2 * margin)
