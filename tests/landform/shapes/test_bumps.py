"""Bumps and hollows on level, sloping and restless ground."""

import numpy as np
import pytest

from pipeline.landform.shapes.bumps import Bumps, best_of_each_place, find_bumps, taller_than_lumps
from pipeline.lattice.grid import Grid, Heights
from tests import landscape


def found(ground: Heights, grid: Grid, *, upward: bool = True, radii_m: tuple[float, ...] = (3, 4, 5, 6)) -> Bumps:
    """Bumps with the settings of the draft, one a place."""
    every_one = find_bumps(
        ground,
        grid,
        upward=upward,
        radii_m=radii_m,
        min_height_m=0.75,
        min_contrast=3.3,
        min_likeness=0.45,
    )
    return best_of_each_place(every_one)


@pytest.mark.parametrize("rise_deg", [0.0, 15.0, 30.0])
@pytest.mark.parametrize("upward", [True, False])
def test_a_bump_is_measured_whatever_the_slope(rise_deg: float, upward: bool) -> None:
    """Place within a cell, height within 15 %, radius within one size, on level ground and on slopes alike."""
    grid = landscape.grid_of(side_m=150, cell_m=0.5)
    ground = landscape.plane(grid, rise_deg=rise_deg)
    ground += landscape.bump(grid, east_m=10, north_m=-20, height_m=1.6 if upward else -1.6, radius_m=5)
    bumps = found(ground + landscape.noise(grid, spread_m=0.05), grid, upward=upward)
    assert len(bumps.height_m) == 1
    east, north = landscape.middle_of(grid)
    np.testing.assert_allclose(bumps.places[0], [east + 10, north - 20], atol=1.1)
    assert bumps.height_m[0] == pytest.approx(1.6, rel=0.15)
    assert bumps.radius_m[0] in (4, 5, 6)
    assert bumps.likeness[0] > 0.8
    assert bumps.elongation[0] < 1.3


def test_long_bumps_have_a_direction() -> None:
    """A bump twice as long as wide is elongated along its axis, east and west."""
    grid = landscape.grid_of(side_m=150, cell_m=0.5)
    ground = landscape.plane(grid, rise_deg=5)
    ground += landscape.bump(grid, east_m=0, north_m=0, height_m=1.5, radius_m=4, stretch=2.0)
    bumps = found(ground, grid)
    assert len(bumps.height_m) == 1
    assert bumps.elongation[0] > 1.5
    assert bumps.angle_deg[0] == pytest.approx(90, abs=5)


@pytest.mark.parametrize("shape", ["level", "plane", "noise", "cone side", "saddle", "step", "ribs"])
def test_ground_without_bumps_has_none(shape: str) -> None:
    """Slopes, their edges, spurs and re-entrants and lidar noise are neither knolls nor pits."""
    grid = landscape.grid_of(side_m=150, cell_m=0.5)
    ground = {
        "level": landscape.level(grid),
        "plane": landscape.plane(grid, rise_deg=35),
        "noise": landscape.level(grid) + landscape.noise(grid, spread_m=0.15),
        "cone side": np.minimum(landscape.cone(grid, rise=0.3), 122).astype(np.float32),
        "saddle": landscape.saddle(grid, height_m=100),
        "step": landscape.stepped_slope(grid, rise_deg=5, step_m=4, face_m=2, every_m=400),
        "ribs": landscape.ribbed_slope(grid, rise_deg=20, width_m=20, depth_m=4),
    }[shape]
    for upward in (True, False):
        assert len(found(ground, grid, upward=upward).height_m) == 0, shape


def test_restless_ground_is_not_full_of_knolls() -> None:
    """Natural unevenness whose usual bump is a fifth of a metre gives at most one of the least height a hectare."""
    grid = landscape.grid_of(side_m=200, cell_m=1.0)
    for seed in (5, 6, 7):
        ground = landscape.plane(grid, rise_deg=10) + landscape.rough(grid, spread_m=2, seed=seed)
        assert len(found(ground, grid).height_m) <= 4


def test_a_bump_beside_unknown_ground_is_left_out() -> None:
    """Where more than a quarter of the window is unknown nothing is claimed."""
    grid = landscape.grid_of(side_m=100, cell_m=0.5)
    ground = landscape.level(grid) + landscape.bump(grid, east_m=0, north_m=0, height_m=2, radius_m=5)
    assert len(found(ground, grid).height_m) == 1
    ground[:, 104:] = np.nan
    assert len(found(ground, grid).height_m) == 0


def test_adding_height_or_moving_the_grid_changes_nothing() -> None:
    """Bumps depend on shape alone."""
    grid = landscape.grid_of(side_m=100, cell_m=0.5)
    ground = landscape.plane(grid, rise_deg=10) + landscape.bump(grid, east_m=5, north_m=5, height_m=2, radius_m=5)
    moved = Grid(grid.crs, grid.west_col + 40, grid.north_row - 80, grid.cell_m, grid.rows, grid.cols)
    here, there = found(ground, grid), found(ground + np.float32(50), moved)
    np.testing.assert_allclose(there.places - here.places, [[20, -40]], atol=0.2)
    np.testing.assert_allclose(there.height_m, here.height_m, atol=0.02)


def test_sizes_that_the_cells_cannot_show_are_not_looked_for() -> None:
    """On cells of 2 m a bump of 3 m radius is not claimed; on cells of 5 m none of the sizes is."""
    grid = landscape.grid_of(side_m=160, cell_m=2.0)
    ground = landscape.level(grid) + landscape.bump(grid, east_m=1, north_m=1, height_m=3, radius_m=3)
    assert len(found(ground, grid, radii_m=(3.0,)).height_m) == 0
    coarse = landscape.grid_of(side_m=200, cell_m=5.0)
    assert len(found(landscape.cone(coarse), coarse).height_m) == 0


def lumps(places: list[tuple[float, float]], height_m: list[float]) -> Bumps:
    """Round lumps of 4 m radius."""
    like = np.ones(len(places))
    return Bumps(np.array(places, float), np.array(height_m), 4 * like, like, 5 * like, like, 0 * like)


def test_a_lump_is_compared_with_the_next_highest_around_it() -> None:
    """The two highest neighbours are left out, lumps beyond reach and the bump itself do not count."""
    around = lumps([(0, 0), (10, 0), (0, 10), (-10, 0), (0, -10), (50, 0)], [2.0, 3.0, 1.6, 1.0, 0.5, 4.0])
    bump = lumps([(0, 0)], [2.0])
    ratios = [taller_than_lumps(bump, around, reach_m=30, n_equal=n)[0] for n in range(5)]
    np.testing.assert_allclose(ratios, [2 / 3, 2 / 1.6, 2.0, 4.0, np.inf])


def test_best_of_each_place_keeps_one() -> None:
    """Of two that overlap the more bump-like stays, one beyond both radii stays too."""
    three = lumps([(0, 0), (3, 0), (9, 0)], [1.0, 1.0, 1.0])
    three.likeness[:] = [0.6, 0.9, 0.5]
    np.testing.assert_array_equal(best_of_each_place(three).places[:, 0], [3, 9])
