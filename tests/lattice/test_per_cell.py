"""What the returns of each cell come to."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage, stats

from pipeline.lattice.grid import Grid
from pipeline.lattice.per_cell import count_in_cells, highest_in_cells, lowest_in_cells, sum_in_cells

GRID = Grid.covering((100, 200, 120, 210), cell_m=1.0, crs="EPSG:25832")


def scattered() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places, some outside and with some cells left empty, and a value of each."""
    rng = np.random.default_rng(4)
    return rng.uniform(98, 122, 300), rng.uniform(198, 212, 300), rng.normal(size=300)


@pytest.mark.parametrize(
    ("statistic", "found"),
    [
        ("min", lambda cell, values: lowest_in_cells(cell, values, GRID.shape)),
        ("max", lambda cell, values: highest_in_cells(cell, values, GRID.shape)),
        ("sum", lambda cell, values: sum_in_cells(cell, values, GRID.shape)),
        ("count", lambda cell, _: count_in_cells(cell, GRID.shape)),
    ],
)
def test_cells_hold_what_scipy_bins_into_them(statistic: str, found) -> None:
    """Judge outside the project: scipy.stats.binned_statistic_2d, by coordinates rather than cell numbers."""
    east, north, values = scattered()
    edges = [np.arange(200, 211), np.arange(100, 121)]
    expected = stats.binned_statistic_2d(north, east, values, statistic, bins=edges).statistic[::-1]
    np.testing.assert_allclose(found(GRID.cell_index(east, north), values), expected)
    assert np.isnan(expected).any() == (statistic in ("min", "max"))


def test_empty_cells_hold_what_was_asked_for() -> None:
    """Infinite, for comparisons; precision is kept, and a flat grid may have any number of cells."""
    cell, values = np.array([2, 2, -1, 0]), np.array([5, 3, 1, 4], np.float32)
    assert lowest_in_cells(cell, values, (4,), empty=np.inf).tolist() == [4, np.inf, 3, np.inf]
    assert highest_in_cells(cell, values, (4,), empty=-np.inf).tolist() == [4, -np.inf, 5, -np.inf]
    assert lowest_in_cells(cell, values, (4,)).dtype == np.float32
    assert np.isnan(highest_in_cells(cell[:0], values[:0], (2, 3))).all()
    assert count_in_cells(cell[:0], (2, 3)).tolist() == [[0, 0, 0], [0, 0, 0]]


def test_sums_of_whole_numbers_are_exact_in_any_order() -> None:
    """Judge outside the project: scipy.ndimage.sum_labels; 16-bit intensities do not run over."""
    rng = np.random.default_rng(1)
    cell, shine = rng.integers(0, 6, 5000), rng.integers(0, 2**16, 5000, dtype=np.uint16)
    order = rng.permutation(5000)
    found = sum_in_cells(cell, shine, (2, 3))
    np.testing.assert_array_equal(found.ravel(), ndimage.sum_labels(shine.astype(float), cell, np.arange(6)))
    np.testing.assert_array_equal(found, sum_in_cells(cell[order], shine[order], (2, 3)))
