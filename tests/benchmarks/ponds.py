"""Standing water among ponds of known place planted in real tiles: `python -m tests.benchmarks.ponds`.

A pond loses most of the pulses aimed at it; what is left comes from one level. Beside the ponds stand thickets that let
as few pulses through to level ground, and are none. Needs TUSSOCK_DATA.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from pipeline.lattice.grid import Grid
from pipeline.lattice.sampling import sample
from pipeline.points.classes import classify_returns
from pipeline.returns.cloud import Cloud
from pipeline.settings import PointsSettings, TerrainSettings, WaterSettings
from pipeline.terrain.beams import aimed_pulses
from pipeline.terrain.counts import class_counts
from pipeline.terrain.profile import join_pulses
from pipeline.terrain.surface import ground_support, surface_from_ground
from pipeline.water.draft import draft_water
from pipeline.water.sight.ground import Ground, in_memory
from tests.benchmarks.reliability import reliability_line
from tests.benchmarks.rock_scenes import grid_of, read_tile

TILES = ("bc_1", "bc_3", "boreal", "lava", "lake")
SEEDS = (1, 2)
A_TILE = 5
"""Ponds planted in a tile for each seed."""
APART_M = 15.0
MOST_RELIEF_M = 1.5
"""Ground under a pond is no more uneven than this."""
STAYING = (0.03, 0.2)
"""Share of the pulses that water sends back, and of those that a thicket lets through, drawn for each."""
THICKETS = 3
"""Planted in a tile for each seed."""
THICKET_M = (4.0, 14.0)
"""Heights between which a thicket stops pulses."""
ON_SHORE_M = 3.0
"""How far from a pond a point may lie that is drawn for it."""


@dataclass(frozen=True)
class Tile:
    """A cloud, which of its returns are ground, and what was planted in it."""

    cloud: Cloud
    is_ground: NDArray[np.bool_]
    ponds: tuple[Polygon, ...] = ()
    thickets: tuple[Polygon, ...] = ()


def planted(tile: Tile, seed: int, /) -> Tile:
    """The tile with ponds and thickets, on ground that is level enough."""
    rng = np.random.default_rng(seed)
    for _ in range(600):
        cloud = tile.cloud
        at = rng.uniform(cloud.en.min(axis=0) + 25, cloud.en.max(axis=0) - 25)
        shape = shapely.Point(at).buffer(rng.uniform(5.5, 18))
        inside = np.asarray(shapely.contains_xy(shape, *cloud.en.T))
        ground = cloud.height[inside & tile.is_ground]
        level = len(ground) > 10 and np.ptp(np.percentile(ground, (2, 98))) < MOST_RELIEF_M
        if level and all(shape.distance(other) > APART_M for other in (*tile.ponds, *tile.thickets)):
            grow = _flooded if len(tile.ponds) < A_TILE else _overgrown
            tile = grow(tile, shape, inside, rng)
        if len(tile.thickets) == THICKETS:
            break
    return tile


def _overgrown(tile: Tile, shape: Polygon, inside: NDArray[np.bool_], rng: np.random.Generator) -> Tile:
    """Most returns of the ground lifted into a thicket, along straight pulses from above."""
    stopped = inside & tile.is_ground & (rng.random(len(tile.cloud)) > rng.uniform(*STAYING))
    height = tile.cloud.height + np.where(stopped, rng.uniform(*THICKET_M, len(tile.cloud)), 0.0)
    grown = replace(tile.cloud, height=height)
    return replace(tile, cloud=grown, is_ground=tile.is_ground & ~stopped, thickets=(*tile.thickets, shape))


def _flooded(tile: Tile, shape: Polygon, inside: NDArray[np.bool_], rng: np.random.Generator) -> Tile:
    cloud, height = tile.cloud, tile.cloud.height.copy()
    stays = inside & cloud.is_last & (rng.random(len(cloud)) < rng.uniform(*STAYING))
    level = np.percentile(cloud.height[inside & tile.is_ground], 2) - 0.1
    height[stays] = level + rng.normal(0, 0.03, np.count_nonzero(stays))
    keep = ~inside | stays
    flooded = replace(cloud, height=height).take(keep)
    return replace(tile, cloud=flooded, is_ground=(tile.is_ground | stays)[keep], ponds=(*tile.ponds, shape))


def water_in(tile: Tile, grid: Grid, /) -> gpd.GeoDataFrame:
    """Standing water that is drawn in a tile."""
    cloud, earth = tile.cloud, tile.is_ground
    heights = surface_from_ground(cloud.enh[earth], grid, settings=TerrainSettings())
    pulses = join_pulses(cloud)
    whole = pulses.is_whole
    above_m = np.nan_to_num(cloud.height - sample(heights, grid, cloud.en)).astype(np.float32)
    aimed = aimed_pulses(cloud, pulses.order[pulses.start][whole], pulses.last[whole], above_m, grid)
    counts = class_counts(np.where(earth, 2, 1).astype(np.uint8), cloud.east, cloud.north, cloud.is_last, grid)
    ground = Ground(
        grid,
        bare_earth=in_memory(heights),
        water_returns=in_memory(counts["water_returns"]),
        last_returns=in_memory(counts["last_returns"]),
        aimed_pulses=in_memory(aimed),
        ground_support=in_memory(ground_support(cloud.en[earth], grid)),
    )
    drawn = draft_water(ground, scale=10_000, settings=WaterSettings())
    return drawn[drawn["symbol"].isin(STANDING)]


STANDING = ("301", "302", "303")


def judged(tile: Tile, plain: gpd.GeoDataFrame, grid: Grid, /) -> tuple[int, gpd.GeoDataFrame]:
    """How many ponds are found; and what is drawn that is not drawn without planting, with `is_true`."""
    before = shapely.union_all(plain.geometry.to_numpy()).buffer(ON_SHORE_M)
    drawn = water_in(tile, grid)
    # A point stands for its surroundings, so that it has an area that may lie in a pond.
    places = np.where(drawn["symbol"] == "303", drawn.geometry.buffer(ON_SHORE_M), drawn.geometry)
    is_new = np.array([place.intersection(before).area < place.area / 2 for place in places], bool)
    places, drawn = places[is_new], drawn[is_new].reset_index(drop=True)
    water = shapely.union_all(tile.ponds)
    shown = shapely.union_all(places)
    n_met = sum(shown.intersection(pond).area > min(pond.area / 2, np.pi * ON_SHORE_M**2 / 2) for pond in tile.ponds)
    is_true = np.array([place.intersection(water).area >= place.area / 2 for place in places], bool)
    return n_met, drawn.assign(is_true=is_true)


def main(names: list[str]) -> None:
    """Print a line for each tile and seed, and how sure all of it is drawn."""
    print("tile seed  ponds found  thickets  others")
    confidence, is_true = [], []
    for name in names:
        cloud = read_tile(name)
        grid = grid_of(cloud)
        found = classify_returns(cloud, settings=PointsSettings())
        tile = Tile(cloud, found.asprs_class == 2)
        plain = water_in(tile, grid)
        for seed in SEEDS:
            grown = planted(tile, seed)
            n_met, drawn = judged(grown, plain, grid)
            others = int((~drawn["is_true"]).sum())
            print(f"{name} {seed}  {len(grown.ponds)} {n_met}  {len(grown.thickets)}  {others}", flush=True)
            confidence += drawn["confidence"].tolist()
            is_true += drawn["is_true"].tolist()
    print(reliability_line("pond", np.array(confidence, np.float64), np.array(is_true, bool)))


if __name__ == "__main__":
    main(sys.argv[1:] or list(TILES))
