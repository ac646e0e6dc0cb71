"""Sums over larger cells: the same lattice, counted together."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pipeline.grid import Grid, Heights


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
    return {name: _sum_one(values, grid, larger, times) for name, values in sums.items()}


def _sum_one(values: Heights, grid: Grid, larger: Grid, times: int) -> Heights:
    above = larger.north_row * times - grid.north_row
    before = grid.west_col - larger.west_col * times
    below = larger.rows * times - grid.rows - above
    after = larger.cols * times - grid.cols - before
    padded = np.pad(np.nan_to_num(values), ((above, below), (before, after)))
    blocks = padded.reshape(larger.rows, times, larger.cols, times)
    return np.asarray(blocks.sum(axis=(1, 3)), np.float32)
