"""Lowest and highest cells in square windows, beside SciPy's filters, which look at every window."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.windows import highest_around, is_highest, lowest_around, middle_of_25, middle_of_nine

RNG = np.random.default_rng(8)
GRIDS = {
    "heights": RNG.normal(size=(37, 52)),
    "few heights": np.where(RNG.random((40, 33)) < 0.3, RNG.normal(size=(40, 33)), np.inf),
    "patches": RNG.integers(0, 5, (21, 64)),
    "marks": (RNG.random((50, 50)) < 0.05).astype(np.uint8),
    "mask": RNG.random((29, 31)) < 0.1,
    "one row": RNG.normal(size=(1, 40)),
    "smaller than the window": RNG.normal(size=(3, 4)).astype(np.float32),
}


@pytest.mark.parametrize("half_side", [0, 1, 2, 5, 8])
@pytest.mark.parametrize("name", GRIDS)
def test_windows_hold_what_scipy_finds_in_them(name: str, half_side: int) -> None:
    """Cell for cell and kind for kind the same as the filters of SciPy's ndimage."""
    grid: NDArray[np.generic] = GRIDS[name]
    size = 2 * half_side + 1
    lowest, highest = lowest_around(grid, half_side), highest_around(grid, half_side)
    np.testing.assert_array_equal(lowest, ndimage.minimum_filter(grid, size, mode="nearest"))
    np.testing.assert_array_equal(highest, ndimage.maximum_filter(grid, size, mode="nearest"))
    assert lowest.dtype == highest.dtype == grid.dtype


@pytest.mark.parametrize("name", [name for name in GRIDS if name != "mask"])
def test_the_middle_of_nine_is_scipys_median(name: str) -> None:
    """Cell for cell, at the rim and among infinite heights too."""
    grid: NDArray[np.generic] = GRIDS[name]
    np.testing.assert_array_equal(middle_of_nine(grid), ndimage.median_filter(grid, 3, mode="nearest"))


def test_highest_then_lowest_closes() -> None:
    """A pit narrower than the window is filled as SciPy's closing fills it."""
    grid = GRIDS["heights"]
    closed = lowest_around(highest_around(grid, 2), 2)
    np.testing.assert_array_equal(closed, ndimage.grey_closing(grid, size=(5, 5), mode="nearest"))


def test_a_grid_without_cells_stays_without() -> None:
    """Nothing in, nothing out."""
    assert lowest_around(np.empty((0, 7)), 3).shape == (0, 7)


def test_few_cells_are_the_highest_where_the_whole_grid_says_so() -> None:
    """Judge outside the project: SciPy's maximum filter, also at the rim and where neighbours are as high."""
    values = np.random.default_rng(6).integers(0, 9, (30, 23)).astype(np.float64)
    row, col = np.nonzero(values > 4)
    expected = ndimage.maximum_filter(values, 5)[row, col] == values[row, col]
    np.testing.assert_array_equal(is_highest(values, row, col, 2), expected)
    assert 0 < expected.sum() < len(expected)


@pytest.mark.parametrize("shape", [(5, 5), (9, 6), (7, 1100), (3, 20)])
def test_the_middle_of_25_is_numpys_median(shape: tuple[int, int]) -> None:
    """The middle of 5 x 5 cells is their median, for every window that lies within the grid, with ties and without."""
    heights = np.random.default_rng(5).integers(0, 40, shape).astype(np.uint16)
    found = middle_of_25(heights)
    assert found.shape == (max(shape[0] - 4, 0), max(shape[1] - 4, 0))
    for row, col in np.ndindex(found.shape):
        assert found[row, col] == np.median(heights[row : row + 5, col : col + 5])
