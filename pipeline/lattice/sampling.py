"""Values of a grid at places: of the cell a place lies in, or between the centres of four cells."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorth, Grid, Heights, Mask

Numbers = NDArray[np.float64]


def sample(values: Heights, grid: Grid, places: EastNorth, /) -> Numbers:
    """(n,) value of the cell each place lies in; NaN outside the grid."""
    index = grid.cell_index(places[:, 0], places[:, 1])
    return np.where(index >= 0, values.ravel()[index], np.nan).astype(np.float64)


def mean_along(values: Heights, grid: Grid, lines: list[EastNorth], /) -> Numbers:
    """(n,) mean of the cells that the vertices of each line lie in; 0 for lines outside the grid or on unknown cells.

    Vertices outside the grid or in unknown cells do not count.
    """
    if not lines:
        return np.empty(0)
    found = sample(values, grid, np.concatenate(lines))
    of_line = np.repeat(np.arange(len(lines)), [len(line) for line in lines])
    known = np.isfinite(found)
    total = np.bincount(of_line[known], found[known], minlength=len(lines))
    count = np.bincount(of_line[known], minlength=len(lines))
    return np.divide(total, count, out=np.zeros(len(lines)), where=count > 0)


def row_col_between(places: EastNorth, grid: Grid, /) -> tuple[Numbers, Numbers]:
    """(n,) rows and (n,) columns with parts of cells; whole numbers are the centres of cells."""
    row = grid.north_row - 0.5 - places[:, 1] / grid.cell_m
    col = places[:, 0] / grid.cell_m - grid.west_col - 0.5
    return row, col


def bilinear(values: NDArray[np.floating], row: Numbers, col: Numbers, /, *, beyond: float | None = None) -> Numbers:
    """Values at rows and columns with parts of cells, interpolated between the four cell centres around.

    Parameters
    ----------
    values : (rows, cols)
    row, col : any shape, both the same
    beyond : float or None
        Value outside the outermost cell centres; where it is not given, that of the nearest place on the rim.

    Returns
    -------
    float64, of the shape of `row`; NaN where one of the four cells with any weight is NaN
    """
    if beyond is None and values.ndim == 2 and row.ndim == 1:
        return _bilinear(np.ascontiguousarray(values), row, col)
    mode: Literal["nearest", "constant"] = "nearest" if beyond is None else "constant"
    cval = 0.0 if beyond is None else beyond
    exact = np.asarray(values, np.float64)
    return np.asarray(ndimage.map_coordinates(exact, [row, col], order=1, mode=mode, cval=cval))


@compiled
def between(values: NDArray[np.floating] | Mask, row: float, col: float, /) -> float:
    """As `bilinear` at one place, for compiled loops: the outermost cells are carried on outwards."""
    rows, cols = values.shape
    r, c = min(max(row, 0.0), rows - 1.0), min(max(col, 0.0), cols - 1.0)
    low, left = int(r), int(c)
    up, right = r - low, c - left
    # A cell without any weight is not looked at: it may be unknown, or lie beyond the rim.
    total = (1 - up) * (1 - right) * values[low, left]
    if right > 0:
        total += (1 - up) * right * values[low, left + 1]
    if up > 0:
        total += up * (1 - right) * values[low + 1, left]
        if right > 0:
            total += up * right * values[low + 1, left + 1]
    return float(total)


@compiled
def blended(four: tuple[float, float, float, float], up: float, right: float, /) -> float:
    """The value between four cells, the two of a row and the two of the next; NaN where one is, even without weight.

    For compiled loops over many places, which `between` slows down fivefold: each time an array is handed over, those
    that use it are counted anew.

    Parameters
    ----------
    up, right : float
        How far the place lies from the first of the cells towards the next row and the next column, 0..1.
    """
    total = (1 - up) * (1 - right) * four[0]
    total += (1 - up) * right * four[1]
    total += up * (1 - right) * four[2]
    total += up * right * four[3]
    return float(total)


@compiled
def _bilinear(values: NDArray[np.floating], row: Numbers, col: Numbers) -> Numbers:
    """As `bilinear`, the outermost cells carried on outwards."""
    rows, cols = values.shape
    found = np.empty(len(row))
    for i in range(len(row)):
        found[i] = np.nan
        if 0.0 <= row[i] < rows - 1 and 0.0 <= col[i] < cols - 1:
            low, left = int(row[i]), int(col[i])
            up, right = row[i] - low, col[i] - left
            four = values[low, left], values[low, left + 1], values[low + 1, left], values[low + 1, left + 1]
            found[i] = blended(four, up, right)
        if np.isnan(found[i]):  # at the rim, or beside an unknown cell that may have no weight
            found[i] = between(values, row[i], col[i])
    return found
