"""Stony ground 210 to 212: rough ground is drawn, and brightness says only how far it is believed."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from pipeline.lattice.grid import Grid, Heights
from pipeline.rock.ground.brightness import Brightness, ground_brightness
from pipeline.rock.ground.stony import CONFIDENCE, UNTOLD, find_stony_ground
from pipeline.settings import RockSettings
from tests.rock.ground.test_bare_rock import GRID, HILL, PATCH, PLANTS, counts_of, inside

SETTINGS = RockSettings()
EAST, NORTH = np.meshgrid(*GRID.centres())
BLOCKS = np.sign(np.sin(2 * np.pi * EAST / 4) * np.sin(2 * np.pi * NORTH / 4))
"""Blocks of 2 m, one metre up or down by turns: times a height, ground whose roughness is that height."""


def found(ground: Heights, brightness: Brightness | None = None, grid: Grid = GRID) -> gpd.GeoDataFrame:
    """The stony ground of the draft, every cell seen from close by."""
    return find_stony_ground(
        ground,
        np.full(grid.shape, 0.4, np.float32),
        grid,
        brightness=brightness,
        slow_m=SETTINGS.stony_slow_m,
        dark_ratio=SETTINGS.bare_rock_max_brightness_ratio,
    )


def test_rough_ground_is_stony_and_smooth_ground_is_not() -> None:
    """Blocks of half a metre over a quarter of a hectare are proposed as stony; noise of 5 cm is not."""
    rng = np.random.default_rng(2)
    grid = Grid.covering((0, 0, 80, 80), cell_m=0.5, crs="EPSG:25833")
    smooth = (100 + rng.normal(0, 0.05, grid.shape)).astype(np.float32)
    blocks = np.repeat(np.repeat(rng.uniform(0, 1.8, (40, 40)), 4, axis=0), 4, axis=1).astype(np.float32)
    east, _ = np.meshgrid(*grid.centres())
    assert len(found(smooth, grid=grid)) == 0
    areas = found(np.where(east < 40, smooth + blocks, smooth), grid=grid)
    assert len(areas) >= 1
    assert areas.geometry.union_all().bounds[2] < 46
    assert areas.geometry.area.sum() > 1500


def stony(ratio: float | None) -> gpd.GeoDataFrame:
    """A patch of blocks, its ground so bright; None for a survey without intensity."""
    rock = inside(PATCH)
    blocks = np.random.default_rng(4).uniform(0, 1.8, (60, 60)).repeat(2, axis=0).repeat(2, axis=1) * rock
    counts = counts_of(rock, PLANTS * (ratio or 0))
    if ratio is None:
        counts["lone_ground_intensity_sum"] *= 0
    brightness = ground_brightness(counts, GRID)
    ground = (HILL + blocks).astype(np.float32)
    return found(ground, brightness)


def test_brightness_moves_the_confidence_of_stony_ground_not_its_place() -> None:
    """Dark rough ground is believed more, bright less, and the areas stay what they are."""
    dark, untold, bright = stony(0.4), stony(None), stony(1.0)
    assert dark.geometry.geom_equals(untold.geometry).all()
    assert bright.geometry.geom_equals(untold.geometry).all()
    assert dark.confidence.iloc[0] > untold.confidence.iloc[0] > bright.confidence.iloc[0]
    assert untold.confidence.iloc[0] == CONFIDENCE


def test_evidence_of_stony_ground_says_whether_intensity_spoke() -> None:
    """Without intensity it says so; with it, how bright the ground is."""
    assert UNTOLD in stony(None).evidence.iloc[0]
    assert "times as bright" in stony(0.4).evidence.iloc[0]
    assert UNTOLD not in stony(0.4).evidence.iloc[0]


def test_roughness_decides_between_210_211_and_212() -> None:
    """Ground uneven by 0.35, 0.45 and 0.55 m is slow running, walk and fight."""
    symbols = [found((100 + rough_m * BLOCKS).astype(np.float32)).symbol.tolist() for rough_m in (0.35, 0.45, 0.55)]
    assert symbols == [["210"], ["211"], ["212"]]


def test_smoother_ground_is_stony_where_less_is_asked() -> None:
    """Ground uneven by 0.25 m is left out by default and drawn at a limit of 0.2 m."""
    ground = (100 + 0.25 * BLOCKS).astype(np.float32)
    near = np.full(GRID.shape, 0.4, np.float32)
    areas = [len(find_stony_ground(ground, near, GRID, slow_m=slow_m, dark_ratio=0.7)) for slow_m in (0.3, 0.2)]
    assert areas == [0, 1]
