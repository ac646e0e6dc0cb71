"""Ground that was hardly seen."""

import numpy as np
import pytest

from pipeline.lattice.grid import Heights
from pipeline.settings import TerrainSettings
from pipeline.terrain.doubt import DOUBTFUL_M, doubt_in_ground, hardly_seen
from pipeline.terrain.surface import ground_support, surface_from_ground
from tests import landscape

GRID = landscape.grid_of(side_m=80, cell_m=0.5)


def far(gap_m: float) -> Heights:
    """As far from the nearest return everywhere."""
    return np.full(GRID.shape, gap_m, np.float32)


def test_a_bend_is_doubted_as_far_as_returns_are_from_it() -> None:
    """A crest between slopes of 30 degrees: in proportion to the gap, and only beside the crest."""
    _, y = landscape.from_middle(GRID)
    crest = landscape.as_heights(-np.tan(np.radians(30)) * np.abs(y))
    near, away = (doubt_in_ground(crest, far(gap_m), GRID) for gap_m in (0.5, 2.0))
    np.testing.assert_allclose(away, 4 * near, rtol=1e-4)
    beside = (np.abs(np.abs(y) - 2) < 0.5) & (np.abs(landscape.from_middle(GRID)[0]) < 30)
    assert away[beside].min() > DOUBTFUL_M > near[beside].max()
    assert away[(np.abs(y) > 20) & (np.abs(y) < 30)].max() < 0.01


def test_an_even_slope_is_never_doubted() -> None:
    """Triangles across a gap are right on a plane of 50 degrees, however wide the gap is."""
    slope = landscape.plane(GRID, rise_deg=50)
    inner = doubt_in_ground(slope, far(5.0), GRID)[40:-40, 40:-40]
    assert inner.max() < 0.05


@pytest.mark.parametrize(("gap_m", "radius_m", "is_marked"), [(2.0, 7.0, True), (0.1, 7.0, False), (2.0, 2.2, False)])
def test_only_patches_large_enough_are_marked(gap_m: float, radius_m: float, is_marked: bool) -> None:
    """A hill of 5 m seldom hit; one hit often; and a lump with less than 25 m2 of doubt."""
    height_m = 5.0 if radius_m > 5 else 1.0
    ground = landscape.level(GRID) + landscape.bump(GRID, east_m=0, north_m=0, height_m=height_m, radius_m=radius_m)
    marked = hardly_seen(ground, far(gap_m), GRID)
    assert marked.any() == is_marked
    x, y = landscape.from_middle(GRID)
    assert not marked[np.hypot(x, y) > 2 * radius_m].any()


def test_crowns_that_pass_for_ground_are_marked_though_returns_lie_on_them() -> None:
    """A crown 10 m up on a slope of 35 degrees: where the surface is more than 1.5 m off, no 25 m2 go unmarked."""
    rng = np.random.default_rng(8)
    west, south, east, north = GRID.bounds
    places = rng.uniform((west, south), (east, north), (4 * 80 * 80, 2))
    x, y = (places - landscape.middle_of(GRID)).T
    crown = np.hypot(x, y) < 4
    kept = ~crown | (rng.random(len(places)) < 0.3)
    heights = 150 + np.tan(np.radians(35)) * y + np.where(crown, 8 + rng.uniform(-2, 2, len(places)), 0)
    returns = np.column_stack((places, heights))[kept]
    surface = surface_from_ground(returns, GRID, settings=TerrainSettings())
    support = ground_support(returns[:, :2], GRID)
    off = np.abs(surface - landscape.plane(GRID, rise_deg=35, height_m=150)) > 1.5
    assert np.median(support[off]) < 1
    left = off & ~hardly_seen(surface, support, GRID)
    assert off.sum() * GRID.cell_m**2 > 40
    assert left.sum() * GRID.cell_m**2 < 25


def test_nothing_known_is_nothing_marked() -> None:
    """No surface, no doubt in it."""
    assert not hardly_seen(np.full(GRID.shape, np.nan, np.float32), far(np.inf), GRID).any()
