"""Larger cells of the same lattice."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.measure import block_reduce

from pipeline.lattice.grid import Grid
from pipeline.lattice.larger_cells import (
    any_into,
    cells_times_as_wide,
    coarsen,
    highest_into,
    larger_cells,
    lowest_into,
    mean_into,
    sum_into,
)

FINE = Grid("EPSG:25832", 302, 602, 0.5, 41, 40)
"""Begins and ends within cells of 1.5 m: its west is two thirds into one, its north one third above the next."""


def patchy() -> np.ndarray:
    """Values on the fine grid; unknown in a third of the cells and throughout one large cell."""
    rng = np.random.default_rng(8)
    values = rng.normal(50, 9, FINE.shape).astype(np.float32)
    values[rng.random(FINE.shape) < 0.3] = np.nan
    values[8:20, 7:19] = np.nan
    return values


@pytest.mark.filterwarnings("ignore:All-NaN", "ignore:Mean of empty")
@pytest.mark.parametrize(
    ("ours", "judge"), [(mean_into, np.nanmean), (highest_into, np.nanmax), (lowest_into, np.nanmin)]
)
@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_larger_cells_hold_what_scikit_image_finds_in_them(ours, judge, kind: type) -> None:
    """Judge outside the project: skimage.measure.block_reduce on the grid padded by hand to whole larger cells."""
    values = patchy().astype(kind)
    larger = cells_times_as_wide(FINE, 3)
    padded = np.pad(values, ((1, 0), (2, 0)), constant_values=np.nan)
    expected = block_reduce(padded, (3, 3), judge, cval=np.nan)
    found = ours(values, FINE, larger, 3)
    np.testing.assert_allclose(found, expected, rtol=1e-6)
    assert found.dtype == kind
    assert np.isnan(expected).any()
    assert larger.north_m >= FINE.north_m
    assert larger.west_m <= FINE.west_m


def test_sums_and_flags_lose_nothing() -> None:
    """Counts add up to the same total; unknown counts nothing; a larger cell is set where one of its cells is."""
    counts = np.nan_to_num(np.round(patchy()))
    larger = cells_times_as_wide(FINE, 3)
    found = sum_into({"pulses": np.where(counts == 0, np.nan, counts)}, FINE, larger, 3)["pulses"]
    padded = np.pad(counts, ((1, 0), (2, 0)))
    np.testing.assert_array_equal(found, block_reduce(padded, (3, 3), np.sum))
    assert found.sum() == counts.sum()
    flags = counts > 60
    expected = block_reduce(np.pad(flags, ((1, 0), (2, 0))), (3, 3), np.any)
    np.testing.assert_array_equal(any_into(flags, FINE, larger, 3), expected)
    assert 0 < expected.sum() < expected.size


@pytest.mark.parametrize(("least_m", "times"), [(0.3, 1), (0.5, 1), (1.0, 2), (1.2, 3)])
def test_cells_are_as_many_times_as_wide_as_they_must(least_m: float, times: int) -> None:
    """At least the size asked for; the grid covers the old one by less than a larger cell."""
    larger, found = larger_cells(FINE, least_m=least_m)
    assert found == times
    assert larger == Grid.covering(FINE.bounds, cell_m=0.5 * times, crs=FINE.crs)


def test_coarse_cells_lie_on_their_own_lattice() -> None:
    """A grid that begins at an odd cell gets the same coarse means as one that begins a cell further west."""
    fine = Grid("EPSG:25832", 101, 301, 0.5, 41, 41)
    values = np.random.default_rng(1).random((41, 41)).astype(np.float32)
    wider = np.full((41, 42), np.nan, np.float32)
    wider[:, 1:] = values
    means, grid = coarsen(values, fine, cell_m=1.0)
    again, again_grid = coarsen(wider, Grid("EPSG:25832", 100, 301, 0.5, 41, 42), cell_m=1.0)
    assert grid == again_grid
    np.testing.assert_array_equal(means, again)
    assert grid.cell_m == 1.0
    assert np.nanmean(means) == pytest.approx(values.mean(), abs=0.02)
    assert coarsen(values, fine, cell_m=0.9)[0] is values
