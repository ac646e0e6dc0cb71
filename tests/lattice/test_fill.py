"""Filling from the nearest known cell."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from pipeline.lattice.fill import FEW_UNKNOWN_SHARE, fill_nearest, fill_voids, nearest_known


def patchy(seed: int, share: float) -> np.ndarray:
    """Cells numbered from 0, a share of them known; the number tells where a filled value came from."""
    numbers = np.arange(30 * 40, dtype=np.float64).reshape(30, 40)
    numbers[np.random.default_rng(seed).random(numbers.shape) > share] = np.nan
    return numbers


def away_cells(known: np.ndarray) -> np.ndarray:
    """Judge outside the project: distance to the nearest known cell by a k-d tree (SciPy)."""
    places = np.argwhere(np.ones(known.shape, bool))
    return cKDTree(np.argwhere(known)).query(places)[0].reshape(known.shape)


@pytest.mark.parametrize("share", [0.02, 0.3, 0.9])
def test_every_gap_takes_a_value_from_a_nearest_known_cell(share: float) -> None:
    """No known cell is nearer than the one the value came from; known cells keep their own."""
    values = patchy(3, share)
    known = np.isfinite(values)
    filled = fill_nearest(values)
    row, col = np.divmod(filled.astype(int), 40)
    down, right = np.indices(values.shape)
    np.testing.assert_allclose(np.hypot(row - down, col - right), away_cells(known))
    assert known[row, col].all()
    np.testing.assert_array_equal(np.stack(nearest_known(known))[:, known], np.argwhere(known).T)


def test_beyond_the_reach_gaps_stay() -> None:
    """Two and a half cells: gaps up to there are filled, others are not; and some of both kinds there are."""
    values = patchy(5, 0.05)
    away = away_cells(np.isfinite(values))
    filled = fill_nearest(values, reach_cells=2.5)
    np.testing.assert_array_equal(np.isnan(filled), away > 2.5)
    assert 0 < np.isnan(filled).sum() < np.isnan(values).sum()


@pytest.mark.parametrize("share", [0.02, 0.3, 0.9])
def test_a_reach_changes_nothing_within_it(share: float) -> None:
    """Looked at cell by cell, as up to 16 cells, or by SciPy's transform: of known cells as near the same is taken."""
    values = patchy(7, share)
    whole, near = fill_nearest(values), fill_nearest(values, reach_cells=15.0)
    filled = np.isfinite(near)
    assert filled.sum() > np.isfinite(values).sum()
    np.testing.assert_array_equal(near[filled], whole[filled])


@pytest.mark.parametrize("side", [3, 60])
def test_few_voids_are_filled_as_many_are(side: int) -> None:
    """Voids of a hundredth of the cells take the same values as by the transform of the whole grid, ties included.

    One void is narrow, the other wider than what is looked at cell by cell.
    """
    cells = np.random.default_rng(7).random((700, 700))
    cells[np.random.default_rng(8).random(cells.shape) < 0.002] = np.nan
    cells[300 : 300 + side, 300 : 300 + side] = np.nan
    assert np.isnan(cells).mean() <= FEW_UNKNOWN_SHARE
    np.testing.assert_array_equal(fill_nearest(cells), cells[nearest_known(np.isfinite(cells))])


def test_nothing_known_and_nothing_missing_come_back_as_they_are() -> None:
    """Precision is kept; there is nothing to fill from, or nothing to fill."""
    nothing, everything = np.full((2, 3), np.nan, np.float32), np.ones((2, 3), np.float32)
    assert fill_nearest(nothing) is nothing
    assert fill_nearest(everything, reach_cells=1) is everything
    assert fill_nearest(np.array([[1, np.nan]], np.float32), reach_cells=3).dtype == np.float32


def test_voids_are_filled_from_the_nearest_and_reported() -> None:
    """The mask says where nothing was known; a raster without any height is refused."""
    heights = np.array([[1.0, np.nan, np.nan, 4.0]], np.float32)
    filled, unknown = fill_voids(heights)
    assert filled.tolist() == [[1, 1, 4, 4]]
    assert unknown.tolist() == [[False, True, True, False]]
    with pytest.raises(ValueError, match="no height"):
        fill_voids(np.full((2, 2), np.nan, np.float32))
