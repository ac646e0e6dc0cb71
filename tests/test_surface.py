"""The bare earth between its returns, its support, and the canopy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import LinearNDInterpolator
from shapely.geometry import box

from pipeline.lattice.grid import Grid
from pipeline.returns.cloud import Cloud
from pipeline.returns.triangulation import cell_means
from pipeline.settings import TerrainSettings
from pipeline.terrain.surface import canopy_height, ground_support, level_water, surface_from_ground
from tests.terrain_clouds import knoll, returns_from, slope_of

SETTINGS = TerrainSettings()


def grid_of(west: float, south: float, size_m: float, cell_m: float = 0.5) -> Grid:
    """A square grid."""
    return Grid.covering((west, south, west + size_m, south + size_m), cell_m=cell_m, crs="EPSG:25832")


def test_plane_comes_back() -> None:
    """A plane is a plane again, to a millimetre."""
    grid = grid_of(10, 10, 40)
    heights = surface_from_ground(returns_from(slope_of(0.4), 60, noise_m=0.0), grid, settings=SETTINGS)
    east, _ = grid.centres()
    assert np.abs(heights - (100 + 0.4 * east)).max() < 0.002


def test_surface_is_scipy_s_linear_interpolation() -> None:
    """Judge outside the project: scipy.interpolate.LinearNDInterpolator (Qhull) on the same nodes."""
    grid = grid_of(5, 5, 50)
    ground = returns_from(knoll(3, 12, 30), 60)
    nodes = cell_means(ground, cell_m=grid.cell_m)
    east, north = np.meshgrid(*grid.centres())
    expected = LinearNDInterpolator(nodes[:, :2], nodes[:, 2])(east, north)
    difference = np.abs(surface_from_ground(ground, grid, settings=SETTINGS) - expected)
    assert np.quantile(difference, 0.999) < 0.001


def test_noise_is_halved_where_returns_abound() -> None:
    """With 16 returns/m2 and 5 cm of noise the surface errs by less than 4 cm on average."""
    grid = grid_of(5, 5, 30)
    heights = surface_from_ground(returns_from(slope_of(0), 40, per_m2=16, noise_m=0.05), grid, settings=SETTINGS)
    assert np.sqrt(np.mean((heights - 100) ** 2)) < 0.04


@pytest.mark.parametrize(("halo_m", "same"), [(40.0, True), (0.0, False)])
def test_cut_block_gives_the_same_surface(halo_m: float, same: bool) -> None:
    """The surface of a block is that of the whole to the last bit, given a halo; without it is not."""
    ground = returns_from(knoll(5, 60, 75), 150, per_m2=2)
    core = grid_of(60, 60, 30)
    seen = (abs(ground[:, :2] - 75) < 15 + halo_m).all(axis=1)
    whole = surface_from_ground(ground, grid_of(0, 0, 150), settings=SETTINGS)[grid_of(0, 0, 150).window_of(core)]
    assert np.array_equal(surface_from_ground(ground[seen], core, settings=SETTINGS), whole) is same


def test_moved_and_shuffled_returns_give_the_same_surface() -> None:
    """Whole metres of shift and any order of the returns change nothing."""
    ground = returns_from(knoll(5, 20, 30), 60)
    order = np.random.default_rng(4).permutation(len(ground))
    plain = surface_from_ground(ground, grid_of(10, 10, 40), settings=SETTINGS)
    moved = surface_from_ground(ground[order] + (4e5, 6e6, 0), grid_of(400_010, 6_000_010, 40), settings=SETTINGS)
    np.testing.assert_array_equal(moved, plain)


def test_far_from_ground_the_surface_is_unknown() -> None:
    """Beyond the widest gap there is no height; without ground there is none at all."""
    ground = returns_from(slope_of(0), 20)
    heights = surface_from_ground(ground, grid_of(0, 0, 100, 1.0), settings=TerrainSettings(max_gap_m=10))
    east, north = np.meshgrid(*grid_of(0, 0, 100, 1.0).centres())
    far = np.hypot(np.maximum(east - 20, 0), np.maximum(north - 20, 0)) > 11
    assert np.isnan(heights[far]).all()
    assert np.isfinite(heights[:, :10][-10:]).all()
    assert np.isnan(surface_from_ground(np.empty((0, 3)), grid_of(0, 0, 5), settings=SETTINGS)).all()


def test_support_is_the_distance_to_the_next_ground() -> None:
    """A single ground return: distances by Pythagoras; none: infinite."""
    grid = grid_of(0, 0, 10, 1.0)
    east, north = np.meshgrid(*grid.centres())
    expected = np.hypot(east - 3.2, north - 4.1)
    np.testing.assert_allclose(ground_support(np.array([[3.2, 4.1]]), grid), expected, atol=1e-5)
    assert np.isinf(ground_support(np.empty((0, 2)), grid)).all()


def test_canopy_has_no_pits() -> None:
    """A crown of 12 m with a beam that went through it keeps its height; open ground stays 0."""
    grid = grid_of(0, 0, 10, 1.0)
    east, north = (axis.ravel() for axis in np.meshgrid(np.arange(10) + 0.5, np.arange(10) + 0.5))
    above = np.where(east < 6, 12.0, 0.0).astype(np.float32)
    above[(east == 2.5) & (north == 4.5)] = 0.0
    classes = np.where(above > 0, 5, 2).astype(np.uint8)
    cloud = Cloud.of(np.column_stack((east, north, above.astype(float))))
    canopy = canopy_height(cloud, classes, above, grid)
    assert canopy[5, 2] == 12.0
    assert (canopy[:, 7:] == 0).all()


def test_a_lake_is_flat_and_its_void_filled() -> None:
    """Within the shore one level but for islands, outside nothing changed; a body without a level stays as it was."""
    grid = grid_of(0, 0, 40)
    rng = np.random.default_rng(3)
    seen = (100 + rng.normal(0, 0.2, grid.shape)).astype(np.float32)
    seen[40:44, 40:44] = np.nan
    seen[30:34, 50:54] = 103.0
    lake, doubtful = box(15, 15, 30, 30), box(2, 2, 8, 8)
    flat = level_water(seen, grid, [lake, doubtful], [99.5, np.nan], max_off_m=1.5)
    east, north = np.meshgrid(*grid.centres())
    inside = (east > 15) & (east < 30) & (north > 15) & (north < 30)
    island = seen == 103.0
    assert np.all(flat[inside & ~island] == np.float32(99.5))
    assert np.array_equal(flat[~inside | island], seen[~inside | island], equal_nan=True)
