"""Values of a grid at places."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio
from scipy.interpolate import RegularGridInterpolator

from pipeline.lattice.grid import Grid
from pipeline.lattice.sampling import bilinear, mean_along, row_col_between, sample

GRID = Grid("EPSG:25832", 800_000, 12_000_000, 0.5, 40, 60)
VALUES = np.random.default_rng(7).normal(100, 5, GRID.shape).astype(np.float32)


def places(reach_m: float) -> np.ndarray:
    """Places within the outermost cell centres and so far beyond them."""
    west, south, east, north = GRID.bounds
    rng = np.random.default_rng(9)
    low, high = np.array([west, south]) + 0.25 - reach_m, np.array([east, north]) - 0.25 + reach_m
    return rng.uniform(low, high, (500, 2))


def test_a_place_has_the_value_gdal_finds_there() -> None:
    """Judge outside the project: rasterio's `sample`, which reads the cell below a place; NaN outside."""
    at = places(5)
    profile = {"driver": "GTiff", "count": 1, "height": 40, "width": 60, "dtype": "float32", "nodata": np.nan}
    with rasterio.MemoryFile() as memory:
        with memory.open(**profile, crs=GRID.crs, transform=GRID.transform) as target:
            target.write(VALUES, 1)
        with memory.open() as source:
            expected = np.array([value[0] for value in source.sample(at)])
    found = sample(VALUES, GRID, at)
    np.testing.assert_array_equal(found, expected)
    assert 0 < np.isnan(found).sum() < len(at)


def interpolated(at: np.ndarray, beyond: float) -> np.ndarray:
    """Judge outside the project: scipy.interpolate over the cell centres, by coordinates rather than cells."""
    east, north = GRID.centres()
    surface = RegularGridInterpolator(
        (north[::-1], east), VALUES[::-1].astype(float), bounds_error=False, fill_value=beyond
    )
    return surface(at[:, ::-1])


def test_between_cell_centres_values_are_interpolated() -> None:
    """Within the outermost centres, wherever the grid lies."""
    at = places(0)
    np.testing.assert_allclose(bilinear(VALUES, *row_col_between(at, GRID)), interpolated(at, np.nan), atol=1e-4)


@pytest.mark.parametrize("beyond", [np.nan, 0.0, -7.0])
def test_beyond_the_grid_the_given_value_holds(beyond: float) -> None:
    """Outside the outermost centres, and there only."""
    at = places(5)
    found = bilinear(VALUES, *row_col_between(at, GRID), beyond=beyond)
    np.testing.assert_allclose(found, interpolated(at, beyond), atol=1e-4)


def test_beyond_the_grid_the_rim_goes_on() -> None:
    """Where no value is given: as at the nearest place within the outermost centres."""
    at = places(5)
    east, north = GRID.centres()
    inside = np.column_stack((at[:, 0].clip(east[0], east[-1]), at[:, 1].clip(north[-1], north[0])))
    found = bilinear(VALUES, *row_col_between(at, GRID))
    np.testing.assert_allclose(found, interpolated(inside, np.nan), atol=1e-4)


def test_unknown_cell_counts_only_where_it_has_weight() -> None:
    """On the centres of the cells beside it, and on the lines between those, values are known; nearer to it not."""
    values = VALUES.astype(float)
    values[10, 20] = np.nan
    row, col = np.array([9.0, 9.0, 11.0, 10.0, 10.5, 9.5, 10.0]), np.array([20.0, 19.5, 20.5, 21.0, 21.0, 19.5, 20.0])
    expected = [
        values[9, 20],
        (values[9, 19] + values[9, 20]) / 2,
        (values[11, 20] + values[11, 21]) / 2,
        values[10, 21],
        (values[10, 21] + values[11, 21]) / 2,
        np.nan,
        np.nan,
    ]
    np.testing.assert_allclose(bilinear(values, row, col), expected)


def test_mean_along_a_line_counts_its_vertices_and_ignores_what_lies_outside() -> None:
    """A vertex on a one, one on a three, one outside: two. Wholly outside 0; no lines, nothing."""
    values = np.ones(GRID.shape, np.float32)
    values[:, 30:] = 3
    east, north = GRID.centres()
    line = np.array([[east[3], north[5]], [east[50], north[5]], [east[0] - 100, north[5]]])
    assert mean_along(values, GRID, [line, line - 1000]).tolist() == [2.0, 0.0]
    assert mean_along(values, GRID, []).size == 0
