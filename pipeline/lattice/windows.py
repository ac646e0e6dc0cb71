"""The lowest and the highest of the cells in a square window around every cell.

Whole grids are compared with themselves, some cells on: a window of 2^n cells takes n comparisons, each of which a
processor makes for many cells at once. SciPy's filters look at one line after the other and take three to eight times
as long on 32-bit heights, two to four times on 64-bit ones (measured on 4 million cells, windows of 3 to 19).
"""

from __future__ import annotations

from functools import lru_cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled

Kind = TypeVar("Kind", bound=np.generic)


def lowest_around(values: NDArray[Kind], half_side: int, /) -> NDArray[Kind]:
    """(rows, cols) the lowest value within so many rows and columns of each cell; NaN where one of them is NaN."""
    return _swept(values, half_side, np.minimum)


def highest_around(values: NDArray[Kind], half_side: int, /) -> NDArray[Kind]:
    """(rows, cols) the highest value within so many rows and columns of each cell; NaN where one of them is NaN."""
    return _swept(values, half_side, np.maximum)


def middle_of_nine(values: NDArray[Kind], /) -> NDArray[Kind]:
    """(rows, cols) the middle value of the 3 x 3 cells around each cell; those of the rim are carried on outwards.

    No value may be NaN. As `scipy.ndimage.median_filter(values, 3, mode="nearest")`, but whole grids are compared with
    themselves: of each column of three the low, middle and high are told, and the middle of nine is that of the highest
    low, the middle middle and the lowest high of three columns (Smith 1996, Xilinx XCell 23, from memory).
    """
    wide = np.pad(values, 1, mode="edge")
    low, middle, high = _sorted_three(wide[:-2], wide[1:-1], wide[2:])
    columns = slice(0, -2), slice(1, -1), slice(2, None)
    highest_low = np.maximum(np.maximum(low[:, columns[0]], low[:, columns[1]]), low[:, columns[2]])
    lowest_high = np.minimum(np.minimum(high[:, columns[0]], high[:, columns[1]]), high[:, columns[2]])
    middle_middle = _sorted_three(*(middle[:, some] for some in columns))[1]
    return _sorted_three(highest_low, middle_middle, lowest_high)[1]


SIDE = 5
"""Cells to a side of the window of `middle_of_25`."""
STRETCH = 512
"""Cells whose windows are sorted side by side: few enough that these stay in the fastest memory of the processor."""


def middle_of_25(values: NDArray[Kind], /) -> NDArray[Kind]:
    """(rows - 4, cols - 4) the middle value of the 5 x 5 cells around each cell that has so many; no value may be NaN.

    The 25 values of a window are compared pair by pair, and a processor makes one comparison for many windows at once:
    on heights in whole centimetres that is five times as quick as counting the values of each window.
    """
    rows, cols = (max(side - SIDE + 1, 0) for side in values.shape)
    found = np.empty((rows, cols), values.dtype)
    _write_middle(values, _pairs_to_the_middle(SIDE * SIDE), found)
    return found


@lru_cache(maxsize=1)
def _pairs_to_the_middle(n: int) -> NDArray[np.int64]:
    """(k, 2) places whose values are to be compared, the lower one put first; n is odd.

    After the last comparison the middle one of all values stands in the first place of the last pair. Of n // 2 + 2
    values neither the lowest nor the highest is the middle one of all: both are left behind, and one value that was not
    yet looked at takes their place, until one is left.
    """
    pairs: list[tuple[int, int]] = []
    among, later = list(range(n // 2 + 2)), list(range(n // 2 + 2, n))
    while len(among) > 1:
        half = len(among) // 2
        pairs += zip(among[:half], among[-half:], strict=True)
        lows, highs = among[: len(among) - half], among[half:]
        pairs += [(lows[0], low) for low in lows[1:]] + [(high, highs[-1]) for high in highs[:-1]]
        among = among[1:-1] + later[:1]
        later = later[1:]
    return np.array(pairs, np.int64)


@compiled
def _write_middle(values: NDArray[Kind], pairs: NDArray[np.int64], found: NDArray[Kind]) -> None:
    """As `middle_of_25`."""
    rows, cols = found.shape
    window = np.empty((SIDE * SIDE, STRETCH), values.dtype)
    last = pairs[-1, 0]
    for row in range(rows):
        for first in range(0, cols, STRETCH):
            n = min(STRETCH, cols - first)
            for k in range(SIDE * SIDE):
                window[k, :n] = values[row + k // SIDE, first + k % SIDE : first + k % SIDE + n]
            for pair in range(len(pairs)):
                one, other = window[pairs[pair, 0]], window[pairs[pair, 1]]
                for i in range(n):
                    low, high = min(one[i], other[i]), max(one[i], other[i])
                    one[i], other[i] = low, high
            found[row, first : first + n] = window[last, :n]


def _sorted_three(
    one: NDArray[Kind], two: NDArray[Kind], three: NDArray[Kind]
) -> tuple[NDArray[Kind], NDArray[Kind], NDArray[Kind]]:
    """The lowest, the middle and the highest of three grids, cell by cell."""
    low, high = np.minimum(one, two), np.maximum(one, two)
    return np.minimum(low, three), np.maximum(low, np.minimum(high, three)), np.maximum(high, three)


def is_highest(
    values: NDArray[Kind], row: NDArray[np.int64], col: NDArray[np.int64], half_side: int, /
) -> NDArray[np.bool_]:
    """(n,) bool: whether some cells are the highest within so many rows and columns, or as high as the highest.

    Quicker than `highest_around` where few cells are asked about. No value may be NaN.
    """
    return _is_highest(values, row, col, half_side)


@compiled
def _is_highest(
    values: NDArray[Kind], row: NDArray[np.int64], col: NDArray[np.int64], half_side: int
) -> NDArray[np.bool_]:
    """As `is_highest`."""
    rows, cols = values.shape
    highest = np.ones(len(row), np.bool_)
    for i in range(len(row)):
        for r in range(max(row[i] - half_side, 0), min(row[i] + half_side + 1, rows)):
            for c in range(max(col[i] - half_side, 0), min(col[i] + half_side + 1, cols)):
                if values[r, c] > values[row[i], col[i]]:
                    highest[i] = False
    return highest


def _swept(values: NDArray[Kind], half_side: int, pick: np.ufunc) -> NDArray[Kind]:
    if not values.size:
        return values
    # A window at the rim holds the cells of the rim more than once, which changes neither the lowest nor the highest.
    wide = np.pad(values, half_side, mode="edge")
    length = 2 * half_side + 1
    return along(along(wide, length, 1, 0, pick), length, 0, 1, pick)


def along(values: NDArray[Kind], length: int, down: int, right: int, pick: np.ufunc, /) -> NDArray[Kind]:
    """Lowest or highest (`numpy.minimum`, `numpy.maximum`) of `length` cells in a line.

    The line goes on by so many rows and columns a cell; the result is shorter by length - 1 cells along it.
    """
    span = 1
    while span * 2 <= length:
        values = pick(*_pair(values, span, down, right))
        span *= 2
    if span < length:
        values = pick(*_pair(values, length - span, down, right))
    return values


def _pair(values: NDArray[Kind], step: int, down: int, right: int) -> tuple[NDArray[Kind], NDArray[Kind]]:
    """The grid and the grid `step` cells on, cut to the same shape."""
    rows, cols = values.shape
    first = slice(0, rows - step * down), slice(0, cols - step) if right >= 0 else slice(step, cols)
    second = slice(step * down, rows), slice(step, cols) if right > 0 else slice(0, cols - step)
    if right == 0:
        first, second = (first[0], slice(None)), (second[0], slice(None))
    if down == 0:
        first, second = (slice(None), slice(0, cols - step)), (slice(None), slice(step, cols))
    return values[first], values[second]
