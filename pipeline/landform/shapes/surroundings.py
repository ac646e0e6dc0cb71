"""What a small landform must stand out from: how uneven the ground usually is round about."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid, Mask
from pipeline.lattice.means import Known, square_window

CONTRAST_REACH_M = 100.0
"""Distance within which the usual unevenness is taken: farther than any small landform reaches (our choice)."""
LEAST_UNEVENNESS_M = 0.1
"""Unevenness that even ground shows in lidar, from the errors of the survey (ASPRS: RMSEz 0.1 m and better). Ground
that is more even counts as this uneven; without that, every ripple of a sports field would stand out."""
MEDIAN_SQUARE_M = 100.0
"""Side of the fixed squares, in metres, whose median says what is usual. Smaller ones take restless ground for usual
and lose knolls on it: with 40 m a steep scene lost 3 of 10. The side of a field is a multiple of it, so that fields see
the same squares (fitted on six invented scenes: 100 m draws what the median of the whole area draws)."""

Floats = NDArray[np.floating]


def usual_size(size: Floats, known: Mask, grid: Grid, /, *, most: float, least: float = 0.0, every: int = 1) -> Floats:
    """(rows, cols) mean size of the known cells round about, little moved by the few that stand out.

    Parameters
    ----------
    size : (rows, cols), never negative
    known : (rows, cols) bool
        Cells that count.
    most : float
        Each cell counts as at most so many times the median of its square.
    least : float
        The median counts as at least this.
    every : int
        Medians are taken from every so manieth row and column of the lattice, which saves time on fine cells.
    """
    cap = most * np.maximum(_square_medians(size, known, grid, every=every), least)
    window = square_window(2 * round(CONTRAST_REACH_M / grid.cell_m) + 1, rim="constant")
    return Known.of(known, window, dtype=size.dtype.type).mean(np.minimum(size, cap).astype(size.dtype))


def _square_medians(size: Floats, known: Mask, grid: Grid, /, *, every: int) -> Floats:
    """(rows, cols) median size of the known cells of the fixed square each cell lies in; infinite where none is."""
    east, north = grid.centres()
    row, col = (np.floor(side / MEDIAN_SQUARE_M).astype(np.int64) for side in (north, east))
    row, col = row - row.min(), col - col.min()
    shape = (int(row.max()) + 1, int(col.max()) + 1)
    # Rows and columns are counted from the origin of the lattice, so that the same cells are taken wherever it begins.
    rows = np.flatnonzero((grid.north_row - np.arange(grid.rows)) % every == 0)
    cols = np.flatnonzero((grid.west_col + np.arange(grid.cols)) % every == 0)
    taken = np.ix_(rows, cols)
    counts = known[taken]
    square = (row[rows][:, None] * shape[1] + col[cols][None, :])[counts]
    median = pd.Series(size[taken][counts]).groupby(square).median()
    by_square = np.full(shape[0] * shape[1], np.inf)
    by_square[median.index.to_numpy()] = median.to_numpy()
    return np.asarray(by_square.reshape(shape)[row[:, None], col[None, :]])
