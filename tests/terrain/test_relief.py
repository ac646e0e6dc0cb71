"""Slope and shaded relief on shapes whose answers are known."""

import numpy as np
import pytest

from pipeline.lattice.grid import Grid
from pipeline.terrain.relief import gradient, shaded_relief, slope

GRID = Grid("EPSG:25832", 1000, 9000, 0.5, 40, 60)


def plane(*, east_rise: float, north_rise: float) -> np.ndarray:
    """A tilted plane on GRID."""
    east, north = GRID.centres()
    return (100 + east_rise * (east - east[0]) + north_rise * (north[:, None] - north[0])).astype(np.float32)


def test_plane_has_its_own_slope_everywhere_even_at_the_edge() -> None:
    """A plane rising 0.3 east and 0.4 north is atan(0.5) steep in every cell, corners too."""
    got = slope(plane(east_rise=0.3, north_rise=0.4), GRID)
    np.testing.assert_allclose(got, np.degrees(np.arctan(0.5)), atol=0.01)


def test_gradient_points_uphill() -> None:
    """East and north rise keep their signs although rows run southwards."""
    east, north = gradient(plane(east_rise=-0.2, north_rise=0.7), GRID)
    np.testing.assert_allclose(east, -0.2, atol=1e-3)
    np.testing.assert_allclose(north, 0.7, atol=1e-3)


def test_void_stays_a_void_and_its_rim_keeps_the_slope() -> None:
    """Unknown cells stay unknown; their neighbours are extrapolated from the far side, not from the hole."""
    heights = plane(east_rise=0.5, north_rise=0.0)
    heights[10:20, 10:20] = np.nan
    got = slope(heights, GRID)
    assert np.array_equal(np.isnan(got), np.isnan(heights))
    np.testing.assert_allclose(got[~np.isnan(got)], np.degrees(np.arctan(0.5)), atol=0.01)


def test_level_ground_is_evenly_bright() -> None:
    """Without slope every light strikes alike: one brightness, sin 45 degrees of full."""
    got = shaded_relief(plane(east_rise=0, north_rise=0), GRID)
    assert np.unique(got).tolist() == [1 + round(254 * np.sin(np.radians(45)))]


@pytest.mark.parametrize(("east_rise", "north_rise"), [(1.0, 0.0), (0.0, -1.0), (0.7, -0.7)])
def test_slopes_turned_to_the_north_west_are_brighter(east_rise: float, north_rise: float) -> None:
    """Ground that rises away from the lights (to the east, to the south) is brighter than the opposite face."""
    lit = shaded_relief(plane(east_rise=east_rise, north_rise=north_rise), GRID)
    dark = shaded_relief(plane(east_rise=-east_rise, north_rise=-north_rise), GRID)
    assert int(lit.min()) > int(dark.max()) + 30


def test_unknown_ground_is_zero_and_nothing_else_is() -> None:
    """0 is kept for nodata."""
    heights = plane(east_rise=3.0, north_rise=0.0)
    heights[:5] = np.nan
    got = shaded_relief(heights, GRID)
    assert (got[:5] == 0).all()
    assert (got[5:] > 0).all()
