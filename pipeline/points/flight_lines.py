"""How well flight lines agree in height where they overlap; where they do not, relief shows stripes and steps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from pipeline.returns.cloud import Cloud


@dataclass(frozen=True, order=True)
class LineOffset:
    """Two flight lines and the height of the second above the first.

    Attributes
    ----------
    first, second : int
        Point source IDs.
    offset_m : float
    n_cells : int
        Cells with ground returns of both.
    """

    first: int
    second: int
    offset_m: float
    n_cells: int


def line_offsets(
    cloud: Cloud, above_m: NDArray[np.float64], /, *, cell_m: float, least_cells: int
) -> tuple[LineOffset, ...]:
    """Offsets of every two flight lines that share enough ground.

    Per cell, the mean height of one line's ground returns is taken from that of the other; the median over cells is the
    offset, which single herbs and edges do not move. Heights are above a surface common to both lines, so that a slope
    does not count.

    Parameters
    ----------
    above_m : (n,) float64, metres
        Height above a common surface; NaN for returns that are not to count.
    cell_m : float
        Side of a cell.
    least_cells : int
        Cells two lines must share.
    """
    counts = np.isfinite(above_m)
    few, above_m = cloud.take(counts), above_m[counts]
    cells = {int(line): _means(few, above_m, few.flight_line == line, cell_m) for line in np.unique(few.flight_line)}
    return tuple(_compare(cells, least_cells))


def _means(
    cloud: Cloud, above_m: NDArray[np.float64], ours: NDArray[np.bool_], cell_m: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Numbers of the cells with returns of a line, sorted, and the mean height in each."""
    col, row = (np.floor(axis[ours] / cell_m).astype(np.int64) for axis in (cloud.east, cloud.north))
    # Rows and columns of any place on Earth fit 31 bits each at cells of a metre.
    number, cell = np.unique((row << 31) + col, return_inverse=True)
    return number, np.bincount(cell, above_m[ours]) / np.bincount(cell)


def _compare(cells: dict[int, tuple[NDArray[np.int64], NDArray[np.float64]]], least_cells: int) -> Iterator[LineOffset]:
    for first, second in combinations(sorted(cells), 2):
        (first_cells, first_m), (second_cells, second_m) = cells[first], cells[second]
        shared, at_first, at_second = np.intersect1d(first_cells, second_cells, assume_unique=True, return_indices=True)
        if len(shared) >= least_cells:
            yield LineOffset(first, second, float(np.median(second_m[at_second] - first_m[at_first])), len(shared))
