"""The measures that contours are held to, on lines and ground with known answers."""

import numpy as np
import pytest
import shapely

from pipeline.landform.contours.isolines import contour_levels, trace_contours
from pipeline.landform.contours.legibility import (
    close_approaches,
    count_crossings,
    count_crowded_vertices,
    crowded_places,
    find_shapes,
    is_expressed,
    is_showable,
    stations,
)
from tests import landscape


def test_crossings_are_counted() -> None:
    """Two crossing lines, one figure of eight, and two lines apart."""
    across = [shapely.LineString([(0, 0), (10, 10)]), shapely.LineString([(0, 10), (10, 0)])]
    eight = [shapely.LineString([(0, 0), (10, 10), (10, 0), (0, 10)])]
    apart = [shapely.LineString([(0, 0), (10, 0)]), shapely.LineString([(0, 5), (10, 5)])]
    assert [count_crossings(lines) for lines in (across, eight, apart)] == [1, 1, 0]


def test_stations_are_evenly_spaced_and_include_the_ends() -> None:
    """A line of 10 m in steps of at most 3 m has five places."""
    at = stations([shapely.LineString([(0, 0), (4, 0), (10, 0)])], step_m=3)
    np.testing.assert_allclose(at.places[:, 0], [0, 2.5, 5, 7.5, 10])


def test_crowded_vertices_are_those_beyond_one_per_spacing() -> None:
    """A line of 30 m may have 12 vertices at 3 m; one with 31 has 19 too many."""
    assert count_crowded_vertices([shapely.LineString([(i, 0) for i in range(31)])], spacing_m=3) == 19
    assert count_crowded_vertices([shapely.LineString([(3 * i, 0) for i in range(11)])], spacing_m=3) == 0


def test_parallel_lines_too_near_are_found_and_a_hairpin_is_too() -> None:
    """Lines 3 m apart, and the two limbs of one line 3 m apart, are close; 5 m apart they are not."""
    far = [np.array(way, float) for way in ([(0, 0), (100, 0)], [(0, 5), (100, 5)])]
    near = [np.array(way, float) for way in ([(0, 0), (100, 0)], [(0, 3), (100, 3)])]
    hairpin = [np.array([(0, 0), (100, 0), (100, 3), (0, 3)], float)]
    assert len(close_approaches(far, apart_m=4)[0]) == 0
    assert len(close_approaches(near, apart_m=4)[0]) > 90
    assert len(close_approaches(hairpin, apart_m=4)[0]) > 80


def test_lines_too_near_are_forgiven_on_a_cliff_only() -> None:
    """The same two lines count on level ground and not on ground steeper than lines can show."""
    grid = landscape.grid_of(side_m=60)
    east, north = landscape.middle_of(grid)
    lines = [shapely.LineString([(east - 20, north + side), (east + 20, north + side)]) for side in (-1, 1)]
    gentle, cliff = landscape.plane(grid, rise_deg=5), landscape.plane(grid, rise_deg=60)
    assert len(crowded_places(lines, gentle, grid, apart_m=4, steepest_deg=49)) > 40
    assert len(crowded_places(lines, cliff, grid, apart_m=4, steepest_deg=49)) == 0


@pytest.mark.parametrize("rise_deg", [10.0, 25.0])
def test_every_rib_of_a_slope_is_a_shape_and_straight_lines_lose_it(rise_deg: float) -> None:
    """Raw contours express all re-entrants and spurs of a ribbed slope, straight ones none."""
    grid = landscape.grid_of()
    ground = landscape.ribbed_slope(grid, rise_deg=rise_deg, width_m=15, depth_m=7)
    levels = contour_levels(ground, interval_m=5)
    lines, at_m = trace_contours(ground, grid, levels)
    raw = [shapely.LineString(line) for line in lines]
    shapes = find_shapes(raw, at_m, ground, grid, width_m=15, min_depth_m=2.5)
    # 13 spurs and re-entrants of 15 m fit in 200 m; those at the edge lack a flank.
    assert len(shapes.level_m) >= 10 * len(levels)
    assert (shapes.depth_m > 0).any()
    assert (shapes.depth_m < 0).any()
    assert is_expressed(shapes, raw, at_m).all()
    straight, straight_at_m = trace_contours(landscape.plane(grid, rise_deg=rise_deg), grid, levels)
    assert not is_expressed(shapes, [shapely.LineString(line) for line in straight], straight_at_m).any()


@pytest.mark.parametrize("shape", ["cone", "plane", "saddle"])
def test_ground_without_reentrants_has_no_shapes(shape: str) -> None:
    """A cone, a plane and a wide saddle bend too gently to count."""
    grid = landscape.grid_of()
    ground = {
        "cone": landscape.cone(grid, rise=0.4, top_m=130),
        "plane": landscape.plane(grid, rise_deg=20),
        "saddle": landscape.saddle(grid, height_m=102, curve_m=800),
    }[shape]
    lines, at_m = trace_contours(ground, grid, contour_levels(ground, interval_m=5))
    wide = [line for line in lines if len(line) > 60]
    kept = at_m[[len(line) > 60 for line in lines]]
    shapes = find_shapes([shapely.LineString(line) for line in wide], kept, ground, grid, width_m=15, min_depth_m=2.5)
    assert len(shapes.level_m) == 0


def test_shapes_beside_a_cliff_cannot_be_shown() -> None:
    """Ribs on a slope count, the same ribs across a face steeper than lines can show do not."""
    grid = landscape.grid_of()
    _, y = landscape.from_middle(grid)
    gentle = landscape.ribbed_slope(grid, rise_deg=15, width_m=15, depth_m=7)
    cliff = landscape.as_heights(gentle + 20 * np.clip((y + 30) / 10, 0, 1))
    shown = []
    for ground in (gentle, cliff):
        lines, at_m = trace_contours(ground, grid, contour_levels(ground, interval_m=5))
        raw = [shapely.LineString(line) for line in lines]
        shapes = find_shapes(raw, at_m, ground, grid, width_m=15, min_depth_m=2.5)
        shown.append(is_showable(shapes, ground, grid, min_reach_m=1.9, steepest_deg=49, margin_m=1.0))
    assert shown[0].all()
    assert not shown[1].all()
    on_face = np.abs(shapes.places[:, 1] - landscape.middle_of(grid)[1] + 25) < 5
    assert on_face.any()
    assert not shown[1][on_face].any()
