"""Rocky pits 203.1: steep little hollows whose rim was seen."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.rock.ground import pits
from pipeline.rock.ground.pits import find_rocky_pits

GRID = Grid.covering((0, 0, 80, 80), cell_m=0.5, crs="EPSG:25833")


def test_a_steep_little_hollow_is_a_rocky_pit_and_a_wide_one_is_not() -> None:
    """ISOM 2017-2, 203.1: at least 1 m deep and under 5 m; an earth pit of the same depth is wider and softer."""
    east, north = np.meshgrid(*GRID.centres())
    near = np.full(GRID.shape, 0.2, np.float32)
    narrow = np.where(np.hypot(east - 40, north - 40) < 1.5, -3.2, 0)
    wide = -2.0 * np.exp(-((np.hypot(east - 40, north - 40) / 4) ** 2))
    assert len(find_rocky_pits((100 + narrow).astype(np.float32), near, GRID)) == 1
    assert len(find_rocky_pits((100 + wide).astype(np.float32), near, GRID)) == 0


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_pouring_water_into_little_hollows_only_finds_the_pits_of_the_whole(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Uneven ground with forty holes and unseen patches: the same pits as when all of it is filled at once."""
    rng = np.random.default_rng(seed)
    east, north = np.meshgrid(*GRID.centres())
    heights = 100 + 8 * ndimage.gaussian_filter(rng.normal(size=GRID.shape), 8)
    for e, n, depth_m, radius_m in rng.uniform((0, 0, 0.5, 0.5), (80, 80, 4.0, 4.0), (40, 4)):
        heights -= depth_m * np.clip(1.5 - np.hypot(east - e, north - n) / radius_m, 0, 1)
    support = np.where(ndimage.gaussian_filter(rng.normal(size=GRID.shape), 5) > 0.1, 3.0, 0.2).astype(np.float32)
    ground = heights.astype(np.float32)
    found = find_rocky_pits(ground, support, GRID)

    def all_at_once(bare_earth: Heights, known: Mask, _grid: Grid) -> NDArray[np.float64]:
        level = np.where(known, bare_earth, np.min(bare_earth[known]) - 1).astype(np.float64)
        return pits._water_depth(level, known)

    monkeypatch.setattr(pits, "_little_hollows", all_at_once)
    whole = find_rocky_pits(ground, support, GRID)
    assert len(whole) > 0
    assert shapely.equals_exact(found.geometry.to_numpy(), whole.geometry.to_numpy(), tolerance=1e-6).all()
    assert found.height_m.tolist() == whole.height_m.tolist()


def test_no_pit_where_its_rim_was_not_seen() -> None:
    """A patch of seen ground amid unseen ground has no rim, and a funnel a metre wide may be one stray return."""
    east, north = np.meshgrid(*GRID.centres())
    away = np.hypot(east - 40, north - 40)
    island = np.where(away < 1.5, 0.3, 9.0).astype(np.float32)
    flat = np.full(GRID.shape, 100, np.float32)
    assert len(find_rocky_pits(flat, island, GRID)) == 0
    funnel = (100 - np.where(away < 0.6, 3.0, 0)).astype(np.float32)
    seen = np.full(GRID.shape, 0.2, np.float32)
    assert len(find_rocky_pits(funnel, seen, GRID)) == 0


def test_one_low_return_makes_no_rocky_pit() -> None:
    """The surface falls steeply from all around to one return 2.5 m down; with three returns there it is a pit."""
    east, north = np.meshgrid(*GRID.centres())
    away = np.hypot(east - 40.25, north - 40.25)
    heights = (100 - 2.5 * np.clip((1.6 - away) / 0.9, 0, 1)).astype(np.float32)
    support = np.where(away < 1.6, 0.6, 0.2).astype(np.float32)
    support[away < 0.1] = 0.1
    assert len(find_rocky_pits(heights, support, GRID)) == 0
    support[away < 0.6] = 0.1
    found = find_rocky_pits(heights, support, GRID)
    assert len(found) == 1
    assert found.confidence[0] < 0.4
