"""The lattice: which cell of the ground a number belongs to.

Every raster of an area lies on one lattice: square cells whose edges are whole multiples of the cell size in
the area's working CRS. Two grids of the same cell size can therefore never be half a cell apart, however the
survey was cut into tiles. Rows run from north to south, columns from west to east.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from affine import Affine
from numpy.typing import NDArray

from pipeline.compiled import compiled

Heights = NDArray[np.float32]
"""(rows, cols) float32, metres; NaN where unknown."""
Mask = NDArray[np.bool_]
"""(rows, cols) or (n,) bool."""
EastNorth = NDArray[np.float64]
"""(n, 2) float64, metres: east, north in the working CRS."""
EastNorthHeight = NDArray[np.float64]
"""(n, 3) float64, metres: east, north, elevation in the working CRS."""
Bounds = tuple[float, float, float, float]
"""west, south, east, north in metres."""
Real = TypeVar("Real", np.float32, np.float64)
"""Precision of a grid of numbers: what a function takes it gives back."""


@dataclass(frozen=True)
class Grid:
    """A rectangle of lattice cells.

    Attributes
    ----------
    crs : str
        The working CRS as an authority code or WKT; projected, metres.
    west_col, north_row : int
        Position of the upper left corner in whole cells: east = west_col * cell_m, north = north_row * cell_m.
    cell_m : float
        Side of a cell.
    rows, cols : int
    """

    crs: str
    west_col: int
    north_row: int
    cell_m: float
    rows: int
    cols: int

    @classmethod
    def covering(cls, bounds: Bounds, /, *, cell_m: float, crs: str) -> Grid:
        """The smallest grid of the lattice that covers `bounds`.

        Raises
        ------
        ValueError
            If the bounds are empty or the cell size is not positive.
        """
        west, south, east, north = bounds
        if cell_m <= 0:
            raise ValueError(f"cell_m must be greater than 0, not {cell_m}")
        if not (east > west and north > south):
            raise ValueError(f"bounds are empty: {bounds}")
        # A hair of tolerance keeps an exact multiple from gaining a cell through rounding.
        west_col = math.floor(west / cell_m + 1e-6)
        east_col = math.ceil(east / cell_m - 1e-6)
        south_row = math.floor(south / cell_m + 1e-6)
        north_row = math.ceil(north / cell_m - 1e-6)
        return cls(crs, west_col, north_row, cell_m, north_row - south_row, east_col - west_col)

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, cols)."""
        return self.rows, self.cols

    @property
    def west_m(self) -> float:
        """East coordinate of the left edge."""
        return self.west_col * self.cell_m

    @property
    def north_m(self) -> float:
        """North coordinate of the upper edge."""
        return self.north_row * self.cell_m

    @property
    def bounds(self) -> Bounds:
        """west, south, east, north in metres."""
        return (
            self.west_m,
            (self.north_row - self.rows) * self.cell_m,
            (self.west_col + self.cols) * self.cell_m,
            self.north_m,
        )

    @property
    def transform(self) -> Affine:
        """Affine transform from (col, row) to (east, north), as GDAL understands it."""
        return Affine(self.cell_m, 0.0, self.west_m, 0.0, -self.cell_m, self.north_m)

    def pad(self, margin_m: float) -> Grid:
        """This grid grown on all sides by at least `margin_m`, in whole cells."""
        n = math.ceil(margin_m / self.cell_m - 1e-6)
        return Grid(self.crs, self.west_col - n, self.north_row + n, self.cell_m, self.rows + 2 * n, self.cols + 2 * n)

    def window_of(self, inner: Grid) -> tuple[slice, slice]:
        """Row and column slices of `inner` within this grid.

        Raises
        ------
        ValueError
            If `inner` lies on another lattice or reaches outside this grid.
        """
        if inner.cell_m != self.cell_m or inner.crs != self.crs:
            raise ValueError("grids lie on different lattices")
        row, col = self.north_row - inner.north_row, inner.west_col - self.west_col
        if row < 0 or col < 0 or row + inner.rows > self.rows or col + inner.cols > self.cols:
            raise ValueError("the inner grid reaches outside")
        return slice(row, row + inner.rows), slice(col, col + inner.cols)

    def window_around(self, bounds: Bounds, /, *, margin_cells: int = 0) -> tuple[slice, slice]:
        """Row and column slices of the cells that a rectangle touches and of a margin around, cut off at the rim."""
        west, south, east, north = bounds
        (top, bottom), (left, right) = self.row_col(np.array([west, east]), np.array([north, south]))
        rows = np.clip([top - margin_cells, bottom + margin_cells + 1], 0, self.rows).tolist()
        cols = np.clip([left - margin_cells, right + margin_cells + 1], 0, self.cols).tolist()
        return slice(*rows), slice(*cols)

    def part(self, window: tuple[slice, slice], /) -> Grid:
        """The grid of some of the rows and columns, as `window_around` and `window_of` give them."""
        rows, cols = window
        west_col, north_row = self.west_col + cols.start, self.north_row - rows.start
        return Grid(self.crs, west_col, north_row, self.cell_m, rows.stop - rows.start, cols.stop - cols.start)

    def within(self, bounds: Bounds, /) -> Grid:
        """The part of this grid inside a rectangle of lattice edges, as large as both have in common.

        It has no rows and no columns where they have nothing in common.
        """
        west, south, east, north = (round(value / self.cell_m) for value in bounds)
        north_row = min(self.north_row, max(north, self.north_row - self.rows))
        south_row = max(self.north_row - self.rows, min(south, north_row))
        west_col = max(self.west_col, min(west, self.west_col + self.cols))
        east_col = min(self.west_col + self.cols, max(east, west_col))
        rows, cols = north_row - south_row, east_col - west_col
        if not rows or not cols:
            rows = cols = 0
        return Grid(self.crs, west_col, north_row, self.cell_m, rows, cols)

    def bands(self, *, step_rows: int = 512, most_cells: int = 8_000_000) -> Iterator[Grid]:
        """Bands of the grid from north to south, each a multiple of so many rows, and no larger than needs be."""
        n_rows = step_rows * max(1, most_cells // max(1, step_rows * self.cols))
        for first in range(0, self.rows, n_rows):
            yield self.part((slice(first, min(first + n_rows, self.rows)), slice(0, self.cols)))

    def row_col(
        self, east: NDArray[np.float64], north: NDArray[np.float64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Row and column of each place; may lie outside 0..rows-1 and 0..cols-1.

        A point exactly on an edge belongs to the cell east or north of it, whichever grid asks.
        """
        col = np.floor(np.asarray(east) / self.cell_m).astype(np.int64) - self.west_col
        row = self.north_row - 1 - np.floor(np.asarray(north) / self.cell_m).astype(np.int64)
        return row, col

    def contains(self, east: NDArray[np.float64], north: NDArray[np.float64]) -> Mask:
        """(n,) bool: which places fall in a cell of this grid."""
        return self.cell_index(east, north) >= 0

    def cell_index(self, east: NDArray[np.float64], north: NDArray[np.float64]) -> NDArray[np.int64]:
        """(n,) flat cell index (row * cols + col); -1 outside."""
        east, north = (np.ascontiguousarray(places, np.float64) for places in (east, north))
        return _cell_index(east, north, self.cell_m, self.west_col, self.north_row, self.rows, self.cols)

    def centres(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """East of each column (cols,) and north of each row (rows,) at the cell centres."""
        east = (np.arange(self.cols, dtype=np.float64) + self.west_col + 0.5) * self.cell_m
        north = (self.north_row - 0.5 - np.arange(self.rows, dtype=np.float64)) * self.cell_m
        return east, north


@compiled
def _cell_index(
    east: NDArray[np.float64],
    north: NDArray[np.float64],
    cell_m: float,
    west_col: int,
    north_row: int,
    rows: int,
    cols: int,
) -> NDArray[np.int64]:
    """As `Grid.cell_index`; places that are no numbers lie outside."""
    index = np.empty(len(east), np.int64)
    for i in range(len(east)):
        col, row = np.floor(east[i] / cell_m) - west_col, north_row - 1 - np.floor(north[i] / cell_m)
        inside = row >= 0 and row < rows and col >= 0 and col < cols
        index[i] = np.int64(row) * cols + np.int64(col) if inside else -1
    return index
