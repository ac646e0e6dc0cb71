"""Counts of returns by class and cell: sums that add up over blocks, for every theme that asks what was seen where."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.grid import Grid, Heights, Mask

CLASSES = {"ground_returns": 2, "building_returns": 6, "water_returns": 9}
"""ASPRS LAS 1.4 R15, table 17."""


def class_counts(
    asprs_class: NDArray[np.uint8], east: NDArray[np.float64], north: NDArray[np.float64], is_last: Mask, grid: Grid, /
) -> dict[str, Heights]:
    """Returns in each cell, (rows, cols) each: all of them, last ones, and those of some classes.

    Parameters
    ----------
    asprs_class, east, north, is_last : (n,)
        Returns of the block and its halo; those outside the grid are left out.
    """
    cell = grid.cell_index(east, north)
    chosen = {"all_returns": np.ones(len(cell), bool), "last_returns": is_last}
    chosen |= {name: asprs_class == code for name, code in CLASSES.items()}
    return {name: _count(cell[which & (cell >= 0)], grid) for name, which in chosen.items()}


def _count(cell: NDArray[np.int64], grid: Grid) -> Heights:
    counts = np.bincount(cell, minlength=grid.rows * grid.cols)
    return counts.reshape(grid.shape).astype(np.float32)
