"""Numbers of a tile as metres of the working CRS."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.intake.placement import Placement, bounds_in_working, to_working
from pipeline.intake.units import US_SURVEY_FOOT_M

NEW_MEXICO_FEET = (1_639_600.0, 1_454_500.0, 1_639_800.0, 1_454_700.0)


def test_metres_in_the_working_crs_pass_unchanged() -> None:
    """To the last bit, so that blocks of different tiles meet exactly."""
    x = np.array([412_500.123456789])
    east, north, height = to_working(x, x + 1, x + 2, Placement("EPSG:25832", "EPSG:25832", 1.0))
    assert (east[0], north[0], height[0]) == (x[0], x[0] + 1, x[0] + 2)


def test_degrees_come_out_where_the_standard_says() -> None:
    """UTM forward: on the central meridian east is 500 000 m, and north the meridian arc times 0.9996.

    The arc from the equator to 45 degrees on WGS 84 is 4 984 944.378 m (Snyder 1987, USGS PP 1395, equation 3-21).
    """
    here = np.array([9.0]), np.array([45.0]), np.array([100.0])
    east, north, height = to_working(*here, Placement("EPSG:4326", "EPSG:32632", 1.0))
    assert east[0] == pytest.approx(500_000.0, abs=1e-6)
    assert north[0] == pytest.approx(0.9996 * 4_984_944.378, abs=2e-3)
    assert height[0] == 100.0


def test_bounds_hold_all_points_after_reprojection() -> None:
    """Every point of a tile in feet falls in the tile's metric bounds."""
    placement = Placement("EPSG:2903", "EPSG:3743", US_SURVEY_FOOT_M)
    rng = np.random.default_rng(3)
    west, south, east, north = NEW_MEXICO_FEET
    x, y = rng.uniform(west, east, 1000), rng.uniform(south, north, 1000)
    place = to_working(x, y, x * 0, placement)
    bounds = bounds_in_working(NEW_MEXICO_FEET, placement)
    assert (place[0] >= bounds[0] - 1e-3).all()
    assert (place[0] <= bounds[2] + 1e-3).all()
    assert (place[1] >= bounds[1] - 1e-3).all()
    assert (place[1] <= bounds[3] + 1e-3).all()
