"""Larger cells of the same lattice: sums, means and extremes of the small cells that lie in each."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid, Heights, Mask, Real

Kind = TypeVar("Kind", bound=np.generic)


def cells_times_as_wide(grid: Grid, times: int, /) -> Grid:
    """The grid that covers this one in cells so many times as wide, still on the lattice.

    Its rim may reach beyond the old grid, so that where a cell lies never depends on where the area begins.
    """
    west, north = grid.west_col // times, -(-grid.north_row // times)
    east = -(-(grid.west_col + grid.cols) // times)
    south = (grid.north_row - grid.rows) // times
    return Grid(grid.crs, west, north, grid.cell_m * times, north - south, east - west)


def larger_cells(grid: Grid, /, *, least_m: float) -> tuple[Grid, int]:
    """The grid in cells of at least this size that still lie on the lattice, and how many old cells fit in one side."""
    times = max(1, int(np.ceil(least_m / grid.cell_m - 1e-6)))
    return cells_times_as_wide(grid, times), times


def sum_into(sums: Mapping[str, Heights], grid: Grid, larger: Grid, times: int, /) -> dict[str, Heights]:
    """Each grid of sums added up into the larger cells; what lies outside the old grid counts nothing."""
    return {
        name: np.asarray(_blocks(np.nan_to_num(values), grid, larger, times, 0.0).sum(axis=(1, 3)), np.float32)
        for name, values in sums.items()
    }


def mean_into(values: NDArray[Real], grid: Grid, larger: Grid, times: int, /) -> NDArray[Real]:
    """The mean of the known values within each larger cell; NaN where it holds none."""
    blocks = _blocks(values, grid, larger, times, np.nan)
    known = np.isfinite(blocks)
    count = known.sum(axis=(1, 3))
    total = np.where(known, blocks, 0).sum(axis=(1, 3), dtype=np.float64)
    mean: NDArray[np.float64] = np.divide(total, count, out=np.full(larger.shape, np.nan), where=count > 0)
    return mean.astype(values.dtype)


def coarsen(heights: Heights, grid: Grid, /, *, cell_m: float) -> tuple[Heights, Grid]:
    """Means of the known heights in cells of at most this size, and that grid; unchanged where one cell is as wide.

    The coarse cells lie on the lattice, so they are the same wherever the area begins.
    """
    times = max(1, math.floor(cell_m / grid.cell_m + 1e-6))
    if times == 1:
        return heights, grid
    larger = cells_times_as_wide(grid, times)
    return mean_into(heights, grid, larger, times), larger


def highest_into(values: NDArray[Real], grid: Grid, larger: Grid, times: int, /) -> NDArray[Real]:
    """The highest known value within each larger cell; NaN where it holds none."""
    return _extreme_into(values, grid, larger, times, np.maximum, -np.inf)


def lowest_into(values: NDArray[Real], grid: Grid, larger: Grid, times: int, /) -> NDArray[Real]:
    """The lowest known value within each larger cell; NaN where it holds none."""
    return _extreme_into(values, grid, larger, times, np.minimum, np.inf)


def any_into(cells: Mask, grid: Grid, larger: Grid, times: int, /) -> Mask:
    """(rows, cols) bool: larger cells within which any of the small ones is set."""
    return np.asarray(_blocks(cells, grid, larger, times, False).any(axis=(1, 3)))


def into_smaller(values: NDArray[Kind], grid: Grid, larger: Grid, times: int, /) -> NDArray[Kind]:
    """(rows, cols) of the old grid: the value of the larger cell that each small one lies in."""
    above = larger.north_row * times - grid.north_row
    before = grid.west_col - larger.west_col * times
    repeated = values.repeat(times, axis=0).repeat(times, axis=1)
    return repeated[above : above + grid.rows, before : before + grid.cols]


def parts_of_cells(values: NDArray[Kind], grid: Grid, larger: Grid, times: int, /, *, outside: float) -> NDArray[Kind]:
    """(times x times, rows, cols): the small cells of each larger one, row by row; `outside` beyond the old grid."""
    blocks = _blocks(values, grid, larger, times, outside)
    return blocks.transpose(1, 3, 0, 2).reshape(times * times, larger.rows, larger.cols)


def _extreme_into(
    values: NDArray[Real], grid: Grid, larger: Grid, times: int, pick: np.ufunc, start: float
) -> NDArray[Real]:
    """`start` is what every value beats: it stands for unknown ones."""
    missing = values.dtype.type(start)
    blocks = _blocks(np.where(np.isnan(values), missing, values), grid, larger, times, start)
    found = pick.reduce(blocks, axis=(1, 3))
    return np.where(np.isfinite(found), found, values.dtype.type(np.nan))


def _blocks(values: NDArray[Kind], grid: Grid, larger: Grid, times: int, outside: float) -> NDArray[Kind]:
    """(rows, times, cols, times): the small cells of each larger one."""
    above = larger.north_row * times - grid.north_row
    before = grid.west_col - larger.west_col * times
    below = larger.rows * times - grid.rows - above
    after = larger.cols * times - grid.cols - before
    if above or before or below or after:
        values = np.pad(values, ((above, below), (before, after)), constant_values=outside)
    return values.reshape(larger.rows, times, larger.cols, times)
