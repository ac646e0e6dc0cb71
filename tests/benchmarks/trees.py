"""Single trees planted in open land of real tiles: `python -m tests.benchmarks.trees`.

Trees and bushes that stand alone must be drawn (417, 418); rows of bushes, huts and blocks of rock, planted as well,
must not. How sure the draft is of what it draws there and did not draw before planting is held against that. Needs
TUSSOCK_DATA.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.lattice.grid import Grid
from pipeline.returns.cloud import Cloud
from pipeline.settings import VegetationSettings
from tests.benchmarks.reliability import reliability_line
from tests.benchmarks.rock_scenes import data_folder, grid_of, read_laz
from tests.benchmarks.vegetation import Survey, draft_of, own_ground

TILES = {
    "lava_cone": "real_faults/lava_cone.laz",
    "boreal": "boreal/boreal.laz",
    "thin": "real_faults/thin_with_buildings.laz",
}
SEEDS = (1, 2, 3)
KINDS = ("tree", "bush", "row", "solid")
"""What is planted by turns; the last two are no single trees."""
N_PLANTED = 40
HEIGHT_M = {"tree": (8.5, 20.0), "bush": (2.5, 7.0), "row": (2.5, 7.0), "solid": (2.0, 6.0)}
CROWN_RATIO = (0.25, 0.45)
"""Radius of a crown over its height (common practice, no source)."""
STOPPED = (0.35, 0.8)
"""Share of the pulses that end in a crown, drawn for each."""
ROW_APART_M, ROW_HALF = 3.5, 3
"""Distance of the bushes of a row, and how many stand on either side of its middle."""
APART_M, EDGE_M, REACH_M = 35.0, 22.0, 4.0
"""Least distance of what is planted, of that from the edge, and how far off it may be drawn."""


@dataclass(frozen=True)
class Plant:
    """Something that stands in the open; `crowns` are east, north, height and radius of its parts, in metres."""

    kind: str
    crowns: NDArray[np.float64]
    stopped: float

    @property
    def is_single(self) -> bool:
        """Whether it must be drawn."""
        return self.kind in ("tree", "bush")


def plants_on(land: shapely.Geometry, grid: Grid, rng: np.random.Generator) -> list[Plant]:
    """As many as find room in open land."""
    west, south, east, north = grid.bounds
    found: list[Plant] = []
    for _ in range(4000):
        place = rng.uniform((west + EDGE_M, south + EDGE_M), (east - EDGE_M, north - EDGE_M))
        is_free = all(np.hypot(*(plant.crowns[:, :2].mean(axis=0) - place)) >= APART_M for plant in found)
        if not is_free or not shapely.contains_xy(land, *place):
            continue
        found.append(_plant(KINDS[len(found) % len(KINDS)], place, rng))
        if len(found) == N_PLANTED:
            break
    return found


def _plant(kind: str, place: NDArray[np.float64], rng: np.random.Generator) -> Plant:
    height = rng.uniform(*HEIGHT_M[kind])
    radius = max(height * rng.uniform(*CROWN_RATIO), 1.2)
    turn = rng.uniform(0, np.pi)
    steps = np.arange(-ROW_HALF, ROW_HALF + 1) if kind == "row" else np.zeros(1)
    along = steps[:, None] * ROW_APART_M * np.array([np.cos(turn), np.sin(turn)])
    size = np.broadcast_to([height, radius], (len(steps), 2)) * rng.uniform(0.85, 1.15, (len(steps), 1))
    return Plant(kind, np.column_stack([place + along, size]), 1.0 if kind == "solid" else rng.uniform(*STOPPED))


def planted(survey: Survey, plants: list[Plant], rng: np.random.Generator) -> Cloud:
    """The cloud with last returns from near the ground lifted to where the plants stop them, pulses straight down."""
    cloud, lift = survey.cloud, np.zeros(len(survey.cloud))
    low = np.flatnonzero(cloud.is_last & (survey.height_m < 1.0))
    tree = cKDTree(cloud.en[low])
    for plant in plants:
        for east, north, height, radius in plant.crowns:
            near = low[tree.query_ball_point((east, north), radius)]
            away = np.hypot(cloud.east[near] - east, cloud.north[near] - north) / radius
            top = height * (1 - 0.3 * away**2)
            depth = 0.0 if plant.kind == "solid" else rng.uniform(0, 0.5, len(near))
            is_hit = rng.random(len(near)) < plant.stopped
            lift[near] = np.maximum(lift[near], np.where(is_hit, top * (1 - depth), 0.0))
    return replace(cloud, height=cloud.height + lift)


def trees_of(survey: Survey) -> tuple[gpd.GeoDataFrame, shapely.Geometry]:
    """Single trees that are drawn, and open land."""
    drawn = draft_of(survey, VegetationSettings()).features
    trees = drawn[drawn["symbol"].isin(["417", "418"])].reset_index(drop=True)
    return trees, shapely.union_all(drawn[drawn["symbol"].isin(["401", "403"])].geometry.to_numpy())


def judged(name: str, path: Path) -> gpd.GeoDataFrame:
    """What is drawn anew, with `is_true`; prints how many single trees are found."""
    cloud = read_laz(path)
    grid = grid_of(cloud)
    survey = Survey(cloud, *own_ground(cloud), grid)
    before, land = trees_of(survey)
    parts = []
    for seed in SEEDS:
        rng = np.random.default_rng(seed)
        plants = plants_on(shapely.buffer(land, -8.0), grid, rng)
        grown = planted(survey, plants, rng)
        drawn, _ = trees_of(Survey(grown, *own_ground(grown), grid))
        at = shapely.get_coordinates(drawn.geometry).reshape(-1, 2)
        is_new = _away(at, shapely.get_coordinates(before.geometry).reshape(-1, 2)) > REACH_M
        single = np.array([plant.crowns[0, :2] for plant in plants if plant.is_single]).reshape(-1, 2)
        parts.append(drawn[is_new].assign(is_true=_away(at[is_new], single) <= REACH_M))
        n_met = int((_away(single, at) <= REACH_M).sum())
        others = int((~parts[-1]["is_true"]).sum())
        print(f"{name} {seed}  {len(single)} {n_met}  {len(plants) - len(single)}  {others}", flush=True)
    return gpd.GeoDataFrame(pd.concat(parts, ignore_index=True))


def _away(places: NDArray[np.float64], others: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) metres to the nearest of the others; infinite where there is none."""
    if not len(others) or not len(places):
        return np.full(len(places), np.inf)
    return np.asarray(cKDTree(others).query(places)[0])


def main(names: list[str]) -> None:
    """Print a line for each tile and seed, and how sure all of it is drawn."""
    print("tile seed  trees and bushes found  rows and solids  others")
    drawn = [judged(name, data_folder() / TILES[name]) for name in names]
    for symbol, kind in (("417", "large trees"), ("418", "bushes")):
        right = np.concatenate([part[part["symbol"] == symbol]["is_true"].to_numpy(bool) for part in drawn])
        print(f"{kind}: {right.mean():.2f} of {len(right)} right" if len(right) else f"{kind}: none drawn")
    everything = pd.concat(drawn)
    confidence, is_true = everything["confidence"].to_numpy(np.float64), everything["is_true"].to_numpy(bool)
    print(reliability_line("tree", confidence, is_true))


if __name__ == "__main__":
    main(sys.argv[1:] or list(TILES))
