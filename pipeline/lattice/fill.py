"""Cells that nothing is known of, given the value of the nearest known one."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.compiled import compiled
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
        near = _filled_near(values, *_steps_within(MOST_STEPS)) if unknown.mean() <= FEW_UNKNOWN_SHARE else values
        return values[nearest_known(~unknown)] if np.isnan(near).any() else near
    if reach_cells <= MOST_STEPS:
        return _filled_near(values, *_steps_within(reach_cells))
    away_cells, nearest = ndimage.distance_transform_edt(unknown, return_indices=True)
    return np.where(away_cells <= reach_cells, values[tuple(nearest)], np.nan)


MOST_STEPS = 16.0
"""Reach in cells up to which the cells around each unknown one are looked at one by one, nearest first; for a farther
one, SciPy's transform of the whole grid is quicker. Decides speed alone."""

FEW_UNKNOWN_SHARE = 0.01
"""Share of unknown cells up to which these are looked at one by one before the whole grid is transformed: most voids
are small, and the transform takes as long for one unknown cell as for half of the grid. Decides speed alone."""


def _steps_within(reach_cells: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(k,) rows and (k,) columns of the steps within the reach; the nearest first, then the western, then the northern.

    SciPy's transform chooses in this order among known cells that are as near as each other.
    """
    side = np.arange(-int(reach_cells), int(reach_cells) + 1)
    down, right = (axis.ravel() for axis in np.meshgrid(side, side, indexing="ij"))
    square = down**2 + right**2
    order = np.lexsort((down, right, square))
    order = order[np.sqrt(square[order]) <= reach_cells]
    return down[order], right[order]


@compiled
def _filled_near(values: NDArray[Real], down: NDArray[np.int64], right: NDArray[np.int64]) -> NDArray[Real]:
    """The values, each NaN replaced by the first known value that one of the steps leads to."""
    rows, cols = values.shape
    filled = values.copy()
    for row in range(rows):
        for col in range(cols):
            if np.isnan(values[row, col]):
                for step in range(len(down)):
                    r, c = row + down[step], col + right[step]
                    if 0 <= r < rows and 0 <= c < cols and not np.isnan(values[r, c]):
                        filled[row, col] = values[r, c]
                        break
    return filled


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
