"""The bare earth on coarse cells, over which water is led."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Grid, Heights


def smoothed(heights: Heights, sigma_cells: float) -> NDArray[np.float64]:
    """Gaussian mean of the known heights around each known cell; NaN stays NaN."""
    known = np.isfinite(heights)
    total = ndimage.gaussian_filter(np.where(known, heights, 0).astype(np.float64), sigma_cells)
    weight = ndimage.gaussian_filter(known.astype(np.float64), sigma_cells)
    return np.where(known, total / np.maximum(weight, 1e-9), np.nan)


def blocks_of(values: NDArray[np.float64], grid: Grid, every: int) -> tuple[NDArray[np.float64], Grid]:
    """(rows, cols, n) the values in each coarse cell of `every` cells a side, NaN outside, and the coarser lattice."""
    whole = Grid.covering(grid.bounds, cell_m=grid.cell_m * every, crs=grid.crs)
    top, left = whole.north_row * every - grid.north_row, grid.west_col - whole.west_col * every
    padded = np.full((whole.rows * every, whole.cols * every), np.nan)
    padded[top : top + grid.rows, left : left + grid.cols] = values
    blocks = padded.reshape(whole.rows, every, whole.cols, every).transpose(0, 2, 1, 3)
    return blocks.reshape(whole.rows, whole.cols, every**2), whole


def greatest(blocks: NDArray[np.float64]) -> NDArray[np.float64]:
    """(rows, cols) greatest known value of each coarse cell; NaN without any."""
    known = np.isfinite(blocks)
    greatest = np.where(known, blocks, -np.inf).max(axis=2)
    return np.where(known.any(axis=2), greatest, np.nan)
