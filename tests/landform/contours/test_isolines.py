"""Traced contours against shapes whose contours are known."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.landform.contours.isolines import contour_levels, is_index, trace_areas, trace_contours
from pipeline.landform.lines.lines import encloses_higher, is_closed
from tests import landscape


def test_contours_of_a_cone_are_circles_of_the_right_length() -> None:
    """Radius and length of every contour of a cone follow from its slope, within a tenth of a cell."""
    grid = landscape.grid_of()
    lines, elevation_m = trace_contours(landscape.cone(grid, top_m=131, rise=0.5), grid, np.arange(90.0, 130, 5))
    assert len(lines) == 8
    for line, height in zip(lines, elevation_m, strict=True):
        radius_m = (131 - height) / 0.5
        away_m = np.hypot(*(line - landscape.middle_of(grid)).T)
        np.testing.assert_allclose(away_m, radius_m, atol=0.1)
        assert shapely.LineString(line).length == pytest.approx(2 * np.pi * radius_m, rel=0.01)


@pytest.mark.parametrize("upward", [True, False])
def test_higher_ground_is_on_the_left(upward: bool) -> None:
    """Around a hill contours run against the clock, around a hollow with it."""
    grid = landscape.grid_of()
    heights = landscape.cone(grid) if upward else 200 - landscape.cone(grid)
    lines, _ = trace_contours(heights, grid, contour_levels(heights, interval_m=5))
    closed = [line for line in lines if is_closed(line)]
    assert closed
    assert all(encloses_higher(line) is upward for line in closed)


def test_open_contours_on_a_slope_run_with_the_high_side_left() -> None:
    """On ground rising to the north contours run from west to east."""
    grid = landscape.grid_of()
    lines, _ = trace_contours(landscape.plane(grid, rise_deg=20), grid, np.array([150.0]))
    assert len(lines) == 1
    assert lines[0][0, 0] < lines[0][-1, 0]


def test_contours_end_at_a_void_and_do_not_cross_it() -> None:
    """Unknown ground has no contours, and a contour that meets it is cut in two."""
    grid = landscape.grid_of()
    heights = landscape.plane(grid, rise_deg=20)
    heights[:, 90:110] = np.nan
    lines, _ = trace_contours(heights, grid, np.array([150.0]))
    assert len(lines) == 2
    east = grid.centres()[0]
    assert not any(((line[:, 0] > east[90]) & (line[:, 0] < east[109])).any() for line in lines)


def test_levels_are_counted_from_the_base_level() -> None:
    """Every level is a whole number of intervals from the base level and lies within the ground's heights."""
    heights = np.array([[101.0, 118.0]], np.float32)
    assert contour_levels(heights, interval_m=5).tolist() == [105, 110, 115]
    assert contour_levels(heights, interval_m=5, base_level_m=1.5).tolist() == [101.5, 106.5, 111.5, 116.5]
    assert contour_levels(np.full((2, 2), np.nan, np.float32), interval_m=5).size == 0
    with pytest.raises(ValueError, match="interval_m"):
        contour_levels(heights, interval_m=0)


def test_every_fifth_contour_is_an_index_contour() -> None:
    """ISOM 2017-2, 102: one index contour in five."""
    index = is_index(np.array([95.0, 100, 105, 125, -25]), interval_m=5, base_level_m=0, every=5)
    assert index.tolist() == [False, True, False, True, True]


def test_area_of_a_disc_with_a_hole() -> None:
    """The ring of a cone between two heights has the area that geometry says."""
    grid = landscape.grid_of()
    heights = -np.abs(landscape.cone(grid, top_m=100, rise=1.0) - 60)  # 0 on a circle of 40 m
    areas = trace_areas(heights.astype(np.float32), grid, at_least=-10)
    assert len(areas) == 1
    assert areas[0].area == pytest.approx(np.pi * (50**2 - 30**2), rel=0.01)


@given(shift_rows=st.integers(-50, 50), shift_cols=st.integers(-50, 50), added_m=st.sampled_from([-10.0, 5.0, 100.0]))
@settings(max_examples=15, deadline=None)
def test_moving_the_ground_moves_the_contours(shift_rows: int, shift_cols: int, added_m: float) -> None:
    """Whole cells and whole intervals move lines and levels, and change nothing else."""
    grid = landscape.grid_of(side_m=60)
    heights = landscape.rough(grid, spread_m=10) + np.float32(100)
    moved = type(grid)(grid.crs, grid.west_col + shift_cols, grid.north_row + shift_rows, 1.0, grid.rows, grid.cols)
    lines, at_m = trace_contours(heights, grid, contour_levels(heights, interval_m=5))
    higher = heights + np.float32(added_m)
    again, again_m = trace_contours(higher, moved, contour_levels(higher, interval_m=5))
    assert len(lines) == len(again)
    np.testing.assert_allclose(again_m, at_m + added_m)
    for line, other in zip(lines, again, strict=True):
        np.testing.assert_allclose(other - [shift_cols, shift_rows], line, atol=1e-3)
