"""How much of a bump or hollow is closed."""

import numpy as np
import pytest

from pipeline.landform.shapes.closed import closed_m
from pipeline.lattice.grid import Heights
from tests import landscape

GRID = landscape.grid_of(side_m=80, cell_m=0.5)
MIDDLE = np.array([landscape.middle_of(GRID)])


def closed(ground: Heights, *, upward: bool = True, radius_m: float = 5.0) -> float:
    """Of a bump in the middle."""
    (found,) = closed_m(MIDDLE, np.array([radius_m]), ground, GRID, upward=upward)
    return float(found)


def cone(*, height_m: float, rise: float) -> Heights:
    """A cone of 10 m radius on ground that rises so many metres a metre towards the east."""
    x, y = landscape.from_middle(GRID)
    return landscape.as_heights(100 + rise * x + height_m * np.clip(1 - np.hypot(x, y) / 10, 0, None))


def test_on_level_ground_all_of_a_cone_is_closed() -> None:
    """From its top to its foot 10 m away, less what the means of cells of 1 m take off a point."""
    assert closed(cone(height_m=2.0, rise=0.0)) == pytest.approx(2.0, abs=0.3)


def test_on_a_slope_that_part_is_closed_which_stands_above_its_foot_uphill() -> None:
    """A cone 2 m high on a rise of 1 in 10: its foot uphill lies 1 m above its middle, so 1 m is closed."""
    assert closed(cone(height_m=2.0, rise=0.1)) == pytest.approx(1.0, abs=0.2)


def test_a_bend_of_a_slope_is_not_closed() -> None:
    """A cone that rises 2 in 10 on a slope of 1 in 4 is a nose from which one walks up and down only."""
    assert closed(cone(height_m=2.0, rise=0.25)) < 0.1


def test_a_hollow_is_closed_as_far_as_water_would_stand() -> None:
    """The cone upside down."""
    assert closed(cone(height_m=-2.0, rise=0.1), upward=False) == pytest.approx(1.0, abs=0.2)
    assert closed(cone(height_m=-2.0, rise=0.1), upward=True) < 0.5


def test_a_way_through_ground_that_is_not_known_is_a_way_off() -> None:
    """Unknown ground beside the top opens a cone: nobody knows what lies there."""
    ground = cone(height_m=2.0, rise=0.0)
    x, y = landscape.from_middle(GRID)
    ground[(np.hypot(x, y) > 2) & (x > 0) & (np.abs(y) < 4)] = np.nan
    assert closed(ground) < 1.0


def test_what_lies_beyond_its_reach_does_not_close_a_bump() -> None:
    """Of a hill 40 m wide only what falls within two radii of the bump counts."""
    x, y = landscape.from_middle(GRID)
    hill = landscape.as_heights(100 - 0.1 * np.hypot(x, y))
    assert closed(hill, radius_m=5.0) == pytest.approx(1.0, abs=0.2)
    assert closed(hill, radius_m=8.0) == pytest.approx(1.6, abs=0.2)
