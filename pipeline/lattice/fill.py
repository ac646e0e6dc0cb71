"""Cells that nothing is known of, given the value of the nearest known one."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Heights, Mask, Real


def nearest_known(known: Mask, /) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Row and column, (rows, cols) each, of the known cell nearest to each cell; at least one must be known."""
    row, col = ndimage.distance_transform_edt(~known, return_distances=False, return_indices=True)
    return row, col


def fill_nearest(values: NDArray[Real], /, *, reach_cells: float = math.inf) -> NDArray[Real]:
    """(rows, cols) the values, each NaN replaced by the nearest known value.

    NaN stays where the nearest known cell is farther than `reach_cells` cell sides, or where nothing is known at all.
    Without any NaN the array itself comes back.
    """
    unknown = np.isnan(values)
    if unknown.all() or not unknown.any():
        return values
    if math.isinf(reach_cells):
        return values[nearest_known(~unknown)]
    away_cells, nearest = ndimage.distance_transform_edt(unknown, return_indices=True)
    return np.where(away_cells <= reach_cells, values[tuple(nearest)], np.nan)


def fill_voids(heights: Heights, /) -> tuple[Heights, Mask]:
    """Heights with every unknown cell given the nearest known one, and (rows, cols) bool where that was.

    The filled heights keep filters from breaking at the edge of what is known; whoever asked for them puts the NaN
    back afterwards.

    Raises
    ------
    ValueError
        If nothing is known at all.
    """
    unknown = np.isnan(heights)
    if unknown.all():
        raise ValueError("no height is known")
    return fill_nearest(heights), unknown
