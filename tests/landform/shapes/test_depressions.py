"""Which hollows are pits, which depressions."""

import numpy as np
import pytest

from pipeline.landform.shapes.depressions import draft_hollows
from pipeline.settings import TerrainSettings
from pipeline.terrain.surface import ground_support, surface_from_ground
from tests import landscape

LEAST = {"min_contrast": 3.3, "min_likeness": 0.57}
GRID = landscape.grid_of(side_m=120, cell_m=0.5)


def hollows(*, depth_m: float, radius_m: float, rise_deg: float = 5.0, gap_m: float = 0.2):
    """Hollows on a slope with one in the middle, ground returns that far away on average."""
    ground = landscape.plane(GRID, rise_deg=rise_deg)
    ground += landscape.bump(GRID, east_m=0, north_m=0, height_m=-depth_m, radius_m=radius_m)
    gap, seen = (np.full(GRID.shape, value, np.float32) for value in (gap_m, 0.9))
    return draft_hollows(ground, gap, seen, GRID, **LEAST)


@pytest.mark.parametrize(("radius_m", "symbol"), [(2.5, "112"), (5.0, "111")])
def test_steep_sides_make_a_pit_gentle_ones_a_depression(radius_m: float, symbol: str) -> None:
    """1.5 m deep and 5 m across is a pit (112), 10 m across a small depression (111)."""
    found = hollows(depth_m=1.5, radius_m=radius_m)
    assert found.symbol.tolist() == [symbol]
    np.testing.assert_allclose(found.height_m, 1.5, rtol=0.25)


def test_a_pit_on_a_steep_slope_is_found() -> None:
    """On 25 degrees a pit has no closed contour and is a pit all the same."""
    assert len(hollows(depth_m=1.6, radius_m=3, rise_deg=25)) == 1


def test_shallow_hollows_are_left_out() -> None:
    """Half a metre is below what the standard asks (ISOM 111, 112: 1 m)."""
    assert len(hollows(depth_m=0.5, radius_m=4)) == 0


def test_a_hollow_of_one_or_two_returns_is_not_believed() -> None:
    """3 m across with returns a metre and a half apart: one stray return below the ground looks the same."""
    assert len(hollows(depth_m=1.5, radius_m=2.5, gap_m=0.2)) == 1
    assert len(hollows(depth_m=1.5, radius_m=2.5, gap_m=0.8)) == 0


def test_a_spike_below_the_ground_is_no_pit() -> None:
    """Steeper than earth stands: one low return that the noise filter let pass pulls the surface down like that."""
    assert len(hollows(depth_m=2.6, radius_m=2.0)) == 0
    assert len(hollows(depth_m=1.4, radius_m=2.0)) == 1


def test_the_unseen_top_of_a_knoll_is_no_hollow() -> None:
    """A dent with no ground return in it is only the surface drawn across a hole, however well seen all around."""
    ground = landscape.plane(GRID, rise_deg=5)
    ground += landscape.bump(GRID, east_m=0, north_m=0, height_m=-1.5, radius_m=4)
    seen = np.full(GRID.shape, 0.9, np.float32)
    for hole_m, n_found in ((0.0, 1), (3.0, 0)):
        support = landscape.support(GRID, per_m2=4, within_m=hole_m, per_m2_within=0)
        assert len(draft_hollows(ground, support, seen, GRID, **LEAST)) == n_found


def test_what_one_return_alone_claims_is_no_pit() -> None:
    """A stray return 1.2 m below level ground, with normal ones all around it; with three such side by side, a pit."""
    rng = np.random.default_rng(8)
    middle = landscape.middle_of(GRID)
    places = rng.uniform(np.subtract(middle, 30), np.add(middle, 30), (4 * 60 * 60, 2))
    seen = np.full(GRID.shape, 0.9, np.float32)
    for low_within_m, n_found in ((0.0, 0), (1.4, 1)):
        is_low = np.hypot(*(places - middle).T) <= low_within_m
        is_low[np.hypot(*(places - middle).T).argmin()] = True
        ground = np.column_stack([places, 100 + rng.normal(0, 0.03, len(places)) - 1.2 * is_low])
        heights = surface_from_ground(ground, GRID, settings=TerrainSettings())
        found = draft_hollows(heights, ground_support(places, GRID), seen, GRID, **LEAST)
        assert len(found) == n_found


def test_the_pit_of_a_torn_up_root_is_left_out() -> None:
    """0.8 m deep and 3 m across: less than the metre of the standard, though it stands out sharply on even ground."""
    assert len(hollows(depth_m=0.8, radius_m=2.0)) == 0
    assert len(hollows(depth_m=1.1, radius_m=2.5)) == 1
