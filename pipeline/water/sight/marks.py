"""Marks of the ground around a place: while they stay the same, so does whatever was worked out from that ground."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Bounds, Grid
from pipeline.water.sight.ground import PIECE_CELLS, Read

MARKED_CELLS = 64
"""Side, in cells of the area's own grid, of the squares that are marked. Larger ones change with more that lies far
from a channel, smaller ones make more marks than a channel has cross-sections. Our choice."""
MARK_BYTES = 16
"""Length of a mark (blake2b): two of 10^12 squares have the same by chance once in 10^14."""


def marks_around(reads: Sequence[Read], grid: Grid, /, *, margin_m: float) -> Callable[[Bounds], bytes]:
    """Takes a rectangle to marks of the rasters in it and so many metres around.

    Two rectangles have the same marks only where the same cells of the lattice lie around them, with the same values;
    what lies beyond the rim of the grid counts as a value too.
    """
    margin_cells = int(np.ceil(margin_m / grid.cell_m)) + 1
    a_side = PIECE_CELLS // MARKED_CELLS

    @cache
    def marks_of_piece(down: int, across: int) -> dict[tuple[int, int], bytes]:
        """Marks of the squares of a piece, all at once as a piece is read in one go."""
        top, left = down * PIECE_CELLS, across * PIECE_CELLS
        window = (slice(top, min(top + PIECE_CELLS, grid.rows)), slice(left, min(left + PIECE_CELLS, grid.cols)))
        values = [read(window) for read in reads]
        return {
            (row, col): mark_of([raster[_square(row, col)] for raster in values])
            for row in range(a_side)
            for col in range(a_side)
        }

    def around(bounds: Bounds) -> bytes:
        rows, cols = grid.window_around(bounds, margin_cells=margin_cells)
        first_row, first_col = rows.start // MARKED_CELLS, cols.start // MARKED_CELLS
        marks = [
            marks_of_piece(row // a_side, col // a_side)[row % a_side, col % a_side]
            for row in range(first_row, -(-rows.stop // MARKED_CELLS))
            for col in range(first_col, -(-cols.stop // MARKED_CELLS))
        ]
        corner = (grid.north_row - first_row * MARKED_CELLS, grid.west_col + first_col * MARKED_CELLS)
        size = (rows.stop - rows.start, cols.stop - cols.start)
        return b"".join([np.array([*corner, *size], np.int64).tobytes(), *marks])

    return around


def _square(row: int, col: int) -> tuple[slice, slice]:
    """The cells of a square of a piece."""
    return (
        slice(row * MARKED_CELLS, (row + 1) * MARKED_CELLS),
        slice(col * MARKED_CELLS, (col + 1) * MARKED_CELLS),
    )


def mark_of(arrays: Sequence[NDArray[np.generic]], /) -> bytes:
    """A mark of some arrays; their shapes are no part of it."""
    return hashlib.blake2b(b"".join([values.tobytes() for values in arrays]), digest_size=MARK_BYTES).digest()
