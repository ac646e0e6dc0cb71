"""Standing water among ponds of known place planted in real tiles: `python -m tests.benchmarks.ponds`.

A pond loses most of the pulses aimed at it; what is left comes from one level. Needs TUSSOCK_DATA.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

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
from pipeline.water.search import standing_water
from pipeline.water.sight.ground import Ground, in_memory
from pipeline.water.standing import Water
from tests.benchmarks.rock_scenes import grid_of, read_tile

TILES = ("bc_1", "bc_3", "boreal", "lava", "lake")
SEEDS = (1, 2)
A_TILE = 5
"""Ponds planted in a tile for each seed."""
APART_M = 15.0
MOST_RELIEF_M = 1.5
"""Ground under a pond is no more uneven than this."""
STAYING = (0.03, 0.2)
"""Share of the pulses that water sends back, drawn for each pond."""


@dataclass(frozen=True)
class Tile:
    """A cloud, which of its returns are ground, and what was planted in it."""

    cloud: Cloud
    is_ground: NDArray[np.bool_]
    ponds: tuple[Polygon, ...] = ()


def planted(tile: Tile, seed: int, /) -> Tile:
    """The tile with ponds, on ground that is level enough."""
    rng = np.random.default_rng(seed)
    for _ in range(400):
        cloud = tile.cloud
        at = rng.uniform(cloud.en.min(axis=0) + 25, cloud.en.max(axis=0) - 25)
        shape = shapely.Point(at).buffer(rng.uniform(5.5, 18))
        inside = shapely.contains_xy(shape, *cloud.en.T)
        ground = cloud.height[inside & tile.is_ground]
        level = len(ground) > 10 and np.ptp(np.percentile(ground, (2, 98))) < MOST_RELIEF_M
        if level and all(shape.distance(other) > APART_M for other in tile.ponds):
            tile = _flooded(tile, shape, inside, rng)
        if len(tile.ponds) == A_TILE:
            break
    return tile


def _flooded(tile: Tile, shape: Polygon, inside: NDArray[np.bool_], rng: np.random.Generator) -> Tile:
    cloud, height = tile.cloud, tile.cloud.height.copy()
    stays = inside & cloud.is_last & (rng.random(len(cloud)) < rng.uniform(*STAYING))
    level = np.percentile(cloud.height[inside & tile.is_ground], 2) - 0.1
    height[stays] = level + rng.normal(0, 0.03, np.count_nonzero(stays))
    keep = ~inside | stays
    flooded = replace(cloud, height=height).take(keep)
    return replace(tile, cloud=flooded, is_ground=(tile.is_ground | stays)[keep], ponds=(*tile.ponds, shape))


def bodies_in(tile: Tile, grid: Grid, /) -> list[Water]:
    """Standing water of a tile."""
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
    return standing_water(ground, thin_max_ratio=WaterSettings().thin_max_ratio)


def row(name: str, seed: int, tile: Tile, plain: list[Water], grid: Grid, /) -> str:
    """Ponds planted and found, and other bodies that are not there without planting."""
    before = shapely.union_all([body.shape for body in plain])
    ours = [body.shape for body in bodies_in(tile, grid) if body.shape.intersection(before).area < body.shape.area / 2]
    water = shapely.union_all(tile.ponds)
    met = sum(shapely.union_all(ours).intersection(pond).area > pond.area / 2 for pond in tile.ponds)
    return f"{name} {seed}  {len(tile.ponds)} {met}  {sum(s.intersection(water).area < s.area / 2 for s in ours)}"


def main(names: list[str]) -> None:
    """Print a line for each tile, seed and way of counting."""
    print("tile seed  ponds found  others")
    for name in names:
        cloud = read_tile(name)
        grid = grid_of(cloud)
        found = classify_returns(cloud, settings=PointsSettings())
        tile = Tile(cloud, found.asprs_class == 2)
        plain = bodies_in(tile, grid)
        for seed in SEEDS:
            print(row(name, seed, planted(tile, seed), plain, grid), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:] or list(TILES))
