"""Sums over larger cells: the same lattice, counted together."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pipeline.lattice.grid import Grid, Heights


def larger_cells(grid: Grid, /, *, least_m: float) -> tuple[Grid, int]:
    """The grid in cells of at least this size that still lie on the lattice, and how many old cells fit in one side.

    Its rim may reach beyond the old grid, so that where a cell lies never depends on where the area begins.
    """
    times = max(1, int(np.ceil(least_m / grid.cell_m - 1e-6)))
    west, north = grid.west_col // times, -(-grid.north_row // times)
    east = -(-(grid.west_col + grid.cols) // times)
    south = (grid.north_row - grid.rows) // times
    return Grid(grid.crs, west, north, grid.cell_m * times, north - south, east - west), times


def sum_into(sums: Mapping[str, Heights], grid: Grid, larger: Grid, times: int, /) -> dict[str, Heights]:
    """Each grid of sums added up into the larger cells; what lies outside the old grid counts nothing."""
    return {
        name: np.asarray(_blocks(np.nan_to_num(values), grid, larger, times, 0.0).sum(axis=(1, 3)), np.float32)
        for name, values in sums.items()
    }


def highest_into(heights: Heights, grid: Grid, larger: Grid, times: int, /) -> Heights:
    """The highest value within each larger cell; NaN where it holds none."""
    blocks = _blocks(np.where(np.isnan(heights), -np.inf, heights), grid, larger, times, -np.inf)
    highest = blocks.max(axis=(1, 3))
    return np.where(np.isfinite(highest), highest, np.nan).astype(np.float32)


def _blocks(values: Heights, grid: Grid, larger: Grid, times: int, outside: float) -> Heights:
    """(rows, times, cols, times): the small cells of each larger one."""
    above = larger.north_row * times - grid.north_row
    before = grid.west_col - larger.west_col * times
    below = larger.rows * times - grid.rows - above
    after = larger.cols * times - grid.cols - before
    padded = np.pad(values, ((above, below), (before, after)), constant_values=outside)
    return padded.reshape(larger.rows, times, larger.cols, times)
