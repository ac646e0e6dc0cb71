"""Contours as drawn: legible at both scales of a forest map, and still saying what the ground says."""

import numpy as np
import pytest
import shapely

from pipeline.landform.contours.isolines import contour_levels, trace_contours
from pipeline.landform.contours.legibility import (
    count_crossings,
    count_crowded_vertices,
    crowded_places,
    find_shapes,
    is_expressed,
)
from pipeline.landform.draft import contour_surface, draft_landforms
from pipeline.landform.lines.lines import encloses_higher, is_closed, ring_sizes_m
from pipeline.lattice.grid import Grid, Heights
from pipeline.norm.paper import ground_m, sheet_ground_m
from pipeline.settings import LandformSettings
from tests import landscape

SETTINGS = LandformSettings()
SEEN_GAP_M = 0.4


def drawn(ground: Heights, grid: Grid, *, scale: int = 10000, interval_m: float = 5.0):
    """Contours 101 and 102 of the whole draft."""
    gap = np.full(grid.shape, SEEN_GAP_M, np.float32)
    draft = draft_landforms(ground, gap, 0 * gap, grid, interval_m=interval_m, scale=scale, settings=SETTINGS)
    return draft[draft.symbol.isin(["101", "102"])].reset_index(drop=True)


def hilly(grid: Grid) -> Heights:
    """Restless steep ground with a cliff and lidar noise: a hard case for legibility."""
    ground = landscape.plane(grid, rise_deg=15) + landscape.rough(grid, spread_m=8, seed=11)
    ground += landscape.stepped_slope(grid, rise_deg=0, step_m=8, face_m=1, every_m=150) - 152
    return ground + landscape.noise(grid, spread_m=0.1)


@pytest.mark.parametrize("scale", [10000, 15000])
def test_contours_are_legible(scale: int) -> None:
    """No crossing, no gap below the standard's where lines can show the slope, no ring too small, few vertices."""
    grid = landscape.grid_of()
    ground = hilly(grid)
    contours = drawn(ground, grid, scale=scale)
    lines = list(contours.geometry)
    apart_m = ground_m(0.15 + 0.14)
    steepest_deg = np.degrees(np.arctan(5 / apart_m))
    surface, _ = contour_surface(ground, grid, interval_m=5, scale=10000, settings=SETTINGS)
    assert len(lines) > 20
    assert count_crossings(lines) == 0
    # A tenth is left for lines drawn in steps of 0.3 mm.
    assert len(crowded_places(lines, surface, grid, apart_m=0.9 * apart_m, steepest_deg=0.95 * steepest_deg)) == 0
    assert count_crowded_vertices(lines, spacing_m=sheet_ground_m(0.3, scale=scale)) == 0
    for line in lines:
        ring = np.asarray(line.coords)
        if is_closed(ring):
            length_mm, width_mm = (0.9, 0.6) if encloses_higher(ring) else (1.1, 0.7)
            ((length_m, width_m),) = ring_sizes_m([ring])
            assert length_m >= ground_m(length_mm - 0.14)
            assert width_m >= ground_m(width_mm - 0.14)


def test_small_wiggles_go_and_reentrants_stay() -> None:
    """Noise on a gentle slope does not lengthen its contours; every deep rib of a slope is still expressed."""
    grid = landscape.grid_of()
    gentle = landscape.plane(grid, rise_deg=5)
    noisy = gentle + landscape.noise(grid, spread_m=0.3) + landscape.rough(grid, spread_m=0.2)
    raw, _ = trace_contours(noisy, grid, contour_levels(noisy, interval_m=5))
    straight_m = 199 * len(contour_levels(gentle, interval_m=5))
    assert sum(shapely.LineString(line).length for line in raw) > 2 * straight_m
    assert drawn(noisy, grid).length.sum() < 1.08 * straight_m

    ribbed = landscape.ribbed_slope(grid, rise_deg=15, width_m=15, depth_m=7)
    lines, at_m = trace_contours(ribbed, grid, contour_levels(ribbed, interval_m=5))
    shapes = find_shapes([shapely.LineString(line) for line in lines], at_m, ribbed, grid, width_m=15, min_depth_m=2.5)
    contours = drawn(ribbed + landscape.noise(grid, spread_m=0.1), grid)
    assert len(shapes.level_m) > 80
    assert is_expressed(shapes, list(contours.geometry), contours["elevation_m"].to_numpy()).mean() > 0.98


@pytest.mark.parametrize(
    "ground",
    [
        landscape.cone(landscape.grid_of()),
        landscape.saddle(landscape.grid_of(), height_m=102),
        landscape.ribbed_slope(landscape.grid_of(), rise_deg=15, width_m=30, depth_m=6),
        landscape.stepped_slope(landscape.grid_of(), rise_deg=8, step_m=3, face_m=5, every_m=60),
    ],
    ids=["cone", "saddle", "sine ridge", "stepped slope"],
)
def test_contours_stay_within_a_quarter_of_the_interval(ground: Heights) -> None:
    """95 % of every contour lies within 25 % of the interval of the ground (ISOM 101), shapes served or not."""
    grid = landscape.grid_of()
    contours = drawn(ground, grid)
    away_m = []
    for line, height in zip(contours.geometry, contours.elevation_m, strict=True):
        places = np.asarray(line.segmentize(2.0).coords)
        row, col = grid.row_col(places[:, 0], places[:, 1])
        away_m.append(np.abs(ground[row, col] - height))
    assert np.percentile(np.concatenate(away_m), 95) <= 0.25 * 5


def test_level_ground_and_noise_have_no_contours() -> None:
    """Ground that stays between two levels is left empty, noise or not."""
    grid = landscape.grid_of()
    assert len(drawn(landscape.level(grid), grid)) == 0
    assert len(drawn(landscape.level(grid, height_m=102.5) + landscape.noise(grid, spread_m=0.3), grid)) == 0


def test_contours_of_nested_levels_never_cross_whatever_the_ground() -> None:
    """A higher contour never leaves the one below: random ground of several seeds."""
    grid = landscape.grid_of(side_m=120)
    for seed in range(4):
        ground = landscape.level(grid) + landscape.rough(grid, spread_m=12, seed=seed)
        assert count_crossings(list(drawn(ground, grid).geometry)) == 0


def test_confidence_falls_where_no_ground_was_seen() -> None:
    """The same contour is worth less with ground returns 8 m away than with returns everywhere."""
    grid = landscape.grid_of()
    ground = landscape.cone(grid)
    found = []
    for gap_m in (0.4, 8.0):
        gap = np.full(grid.shape, gap_m, np.float32)
        draft = draft_landforms(ground, gap, 0 * gap, grid, interval_m=5, scale=10000, settings=SETTINGS)
        found.append(draft[draft.symbol.isin(["101", "102"])].reset_index(drop=True))
    assert found[0].confidence.min() > 0.9
    assert found[1].confidence.max() < 0.25
    assert "8.0 m away" in found[1].evidence[0]


def test_same_contours_on_a_finer_grid() -> None:
    """Halving the cell leaves the number of contours and their length nearly as they were."""
    coarse, fine = landscape.grid_of(cell_m=1.0), landscape.grid_of(cell_m=0.5)
    ground = [drawn(landscape.ribbed_slope(grid, rise_deg=12, width_m=25, depth_m=5), grid) for grid in (coarse, fine)]
    assert len(ground[0]) == len(ground[1])
    assert ground[1].length.sum() == pytest.approx(ground[0].length.sum(), rel=0.02)
