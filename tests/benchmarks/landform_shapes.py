"""Measure knolls, depressions and pits by shapes of known place and size planted in real ground.

    python -m tests.benchmarks.landform_shapes WHAT

planted        recall, precision and calibration in places and with seeds that nothing was fitted to
fit            KNOLL_LOG_ODDS and HOLLOW_LOG_ODDS of pipeline/landform/shapes/

Both need TUSSOCK_DATA. Two kinds of ground are planted: real tiles, whose returns are raised and lowered, trees and
all, before they are classified; and bare earth of real hillsides (`dtm_walls`), on which ground returns are scattered
as a survey of some density and canopy would, strays below the ground among them. Lower and shallower shapes that need
no symbol are planted as well, such as the pits of torn up roots. What is drawn at a place where it was drawn before
anything was planted is left out: nobody has mapped these places.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.optimize import minimize
from scipy.spatial import cKDTree

from pipeline.landform.shapes.bumps import Bumps
from pipeline.landform.shapes.carried import Carried, likelihood, terms, worth_drawing
from pipeline.landform.shapes.depressions import HOLLOW_LOG_ODDS, find_hollows
from pipeline.landform.shapes.knolls import KNOLL_LOG_ODDS, find_knolls
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.sampling import sample
from pipeline.points.classes import classify_returns
from pipeline.returns.cloud import Cloud
from pipeline.settings import LandformSettings, PointsSettings, TerrainSettings
from pipeline.terrain.seen import ground_noise, how_well_seen
from pipeline.terrain.surface import canopy_height, ground_support, surface_from_ground
from tests.benchmarks.reliability import reliability_line
from tests.benchmarks.rock_scenes import data_folder, folder_scene, grid_of, read_tile

Floats = NDArray[np.float64]
FIT_TILES, JUDGE_TILES = ("bc_1", "lava"), ("bc_2", "bc_3", "boreal")
FIT_BLOCKS, JUDGE_BLOCKS = ("3506_0", "3506_2", "3507_8"), ("3506_8", "3507_2", "3507_0")
"""Places that are fitted to, and others to judge by."""
FIT_SCENES = ("hard_moraine", "hard_karst", "relief_3506_4", "relief_3506_5")
JUDGE_SCENES = ("hard_steep", "hard_farmland", "relief_3506_8", "relief_3507_2", "scene_a", "scene_b")
"""Scenes with known truth, whose own knolls and hollows are listed in it: a hillside has noses and niches that a fit of
a rounded shape takes for such, and only these scenes say so."""
FIT_SEEDS, JUDGE_SEEDS = (1, 2, 3), (11, 12)
APART_M, EDGE_M = 14.0, 12.0
"""Least distance of two shapes and of a shape from the edge."""
KINDS = {"knoll": ((1.2, 2.7), (4.0, 8.0)), "pit": ((1.0, 2.2), (2.5, 6.0))}
LOW_KINDS = {"knoll": ((0.3, 0.7), (2.0, 6.0)), "pit": ((0.3, 0.8), (1.0, 2.5))}
"""Least and greatest height and radius, metres, of shapes that must be drawn and of such that need no symbol; the low
pits are as wide as those of torn up roots."""
REACH_M = {"knoll": 6.0, "pit": 5.0}
"""Distance within which what is drawn is the shape, as `score_draft.py` has it."""
LOG_ODDS = {"knoll": KNOLL_LOG_ODDS, "pit": HOLLOW_LOG_ODDS}
STRAY_PER_HA, STRAY_M = 25, (0.3, 3.0)
"""Returns below the ground, and how far below it they lie."""


@dataclass(frozen=True)
class Gates:
    """What passes: by settings, and whether only what is likely enough to be drawn."""

    settings: LandformSettings
    is_drawn: bool


DRAWN = Gates(LandformSettings(), is_drawn=True)
FIT_TO = (
    Gates(LandformSettings(), is_drawn=False),
    Gates(LandformSettings(min_bump_contrast=2.5, min_knoll_likeness=0.4, min_hollow_likeness=0.45), is_drawn=False),
)
"""What is fitted to in made scenes passes both, as wider gates let another shape stand for a place; in planted ground
it passes the wider, so that there is something false among it."""


@dataclass(frozen=True)
class Shape:
    """One planted shape; `is_low` where it needs no symbol."""

    kind: str
    east: float
    north: float
    height_m: float
    radius_m: float
    is_low: bool
    flatness: float
    stretch: float
    angle: float

    def at(self, east: Floats, north: Floats) -> Floats:
        """Height that it adds at some places, negative for a pit: a bell, or a cone with its top cut off."""
        cos, sin = np.cos(self.angle), np.sin(self.angle)
        x, y = east - self.east, north - self.north
        away = np.hypot((x * cos + y * sin) / self.stretch, y * cos - x * sin) / self.radius_m
        bell = np.exp(-((away / 0.55) ** 2))
        cone = np.clip((1 - away) / (1 - self.flatness), 0, 1)
        rise = np.where(self.flatness > 0, cone, bell)
        return (self.height_m if self.kind == "knoll" else -self.height_m) * rise


def shapes_in(grid: Grid, known: NDArray[np.bool_], rng: np.random.Generator) -> list[Shape]:
    """Shapes by turns of each kind, as many as find room."""
    west, south, east, north = grid.bounds
    made: list[Shape] = []
    for _ in range(400):
        place = rng.uniform((west + EDGE_M, south + EDGE_M), (east - EDGE_M, north - EDGE_M))
        row, col = (int(v[0]) for v in grid.row_col(place[:1], place[1:]))
        taken = any(np.hypot(s.east - place[0], s.north - place[1]) < APART_M + s.radius_m for s in made)
        if taken or not known[row, col]:
            continue
        kind, is_low = (("knoll", False), ("pit", False), ("pit", True), ("knoll", True))[len(made) % 4]
        (low_m, high_m), (narrow_m, wide_m) = (LOW_KINDS if is_low else KINDS)[kind]
        height_m, radius_m = rng.uniform(low_m, high_m), rng.uniform(narrow_m, wide_m)
        if kind == "knoll":
            # Earth stands no steeper than 33 degrees.
            radius_m = max(radius_m, 2.4 * height_m)
        flatness = float(rng.choice([0.0, 0.0, 0.2, 0.4]))
        made.append(
            Shape(kind, *place, height_m, radius_m, is_low, flatness, rng.uniform(1, 1.6), rng.uniform(0, np.pi))
        )
    return made


@dataclass(frozen=True)
class Surface:
    """What the section of landforms is given."""

    grid: Grid
    bare_earth: Heights
    support: Heights
    seen: Heights

    @classmethod
    def of(cls, ground: Floats, grid: Grid, canopy: Heights | None = None) -> Surface:
        """Made of ground returns as the workflow makes it."""
        heights = surface_from_ground(ground, grid, settings=TerrainSettings())
        support = ground_support(ground[:, :2], grid)
        trees = np.zeros(grid.shape, np.float32) if canopy is None else canopy
        return cls(grid, heights, support, how_well_seen(support, trees, ground_noise(heights, grid)))

    def found(self, kind: str, least: Gates) -> tuple[Bumps, Carried, Floats]:
        """Knolls or hollows that pass, what returns say of them, and how well they were seen."""
        find, min_likeness = {
            "knoll": (find_knolls, least.settings.min_knoll_likeness),
            "pit": (find_hollows, least.settings.min_hollow_likeness),
        }[kind]
        bumps, returns = find(
            self.bare_earth,
            self.support,
            self.grid,
            min_contrast=least.settings.min_bump_contrast,
            min_likeness=min_likeness,
        )
        if least.is_drawn:
            is_worth = worth_drawing(bumps, returns, LOG_ODDS[kind])
            bumps, returns = bumps.where(is_worth), returns.where(is_worth)
        return bumps, returns, np.nan_to_num(sample(self.seen, self.grid, bumps.places))


def tile_surface(name: str, shapes: list[Shape], rng: np.random.Generator) -> Surface:
    """A real tile with shapes in it and stray returns below it, classified as the workflow does."""
    cloud = read_tile(name)
    height = cloud.height.copy()
    for shape in shapes:
        height += shape.at(cloud.east, cloud.north)
    last = np.flatnonzero(cloud.is_last)
    grid = grid_of(cloud)
    hectares = grid.rows * grid.cols * grid.cell_m**2 / 1e4
    stray = rng.choice(last, round(STRAY_PER_HA * hectares), replace=False)
    height[stray] -= rng.uniform(*STRAY_M, len(stray))
    moved: Cloud = replace(cloud, height=height)
    classes = classify_returns(moved, settings=PointsSettings()).asprs_class
    return Surface.of(moved.take(np.isin(classes, (2, 9))).enh, grid)


def block_surface(name: str, shapes: list[Shape], rng: np.random.Generator) -> Surface:
    """Bare earth of a real hillside with shapes in it, seen by ground returns that are sparse under crowns."""
    heights, grid = read_block(name)
    west, south, east, north = grid.bounds
    per_m2 = float(np.exp(rng.uniform(np.log(1.0), np.log(6.0))))
    place = rng.uniform((west, south), (east, north), (round(per_m2 * (east - west) * (north - south)), 2))
    crowns = ndimage.gaussian_filter(rng.standard_normal(grid.shape), 2.5 / grid.cell_m)
    kept = np.where(crowns > np.quantile(crowns, 0.5), 0.25, 1.0)
    place = place[rng.random(len(place)) < kept[grid.row_col(place[:, 0], place[:, 1])]]
    z = sample(heights, grid, place)
    place, z = place[np.isfinite(z)], z[np.isfinite(z)].astype(np.float64)
    for shape in shapes:
        z += shape.at(place[:, 0], place[:, 1])
    z += rng.normal(0, 0.05, len(z)) + np.where(rng.random(len(z)) < 0.5, 0.04, -0.04)
    stray = rng.choice(len(z), round(STRAY_PER_HA * (east - west) * (north - south) / 1e4), replace=False)
    z[stray] -= rng.uniform(*STRAY_M, len(stray))
    return Surface.of(np.column_stack([place, z]), Grid.covering(grid.bounds, cell_m=0.5, crs=grid.crs))


def read_block(name: str) -> tuple[Heights, Grid]:
    """Bare earth of a hillside, and its grid."""
    (path,) = [p for p in (data_folder() / "dtm_walls").glob(f"*{name}*.tif") if "walls.tif" not in p.name]
    with rasterio.open(path) as source:
        heights = source.read(1, masked=True).filled(np.nan).astype(np.float32)
        cell_m, west, north = source.transform.a, source.transform.c, source.transform.f
    grid = Grid("EPSG:31256", round(west / cell_m), round(north / cell_m), cell_m, *heights.shape)
    return heights, grid


def scene_drawn(name: str, least: Gates) -> pd.DataFrame:
    """One row for each shape drawn in a made scene, whose returns are classified as the workflow does, as `planted`."""
    folder = data_folder() / name
    scene = folder_scene(name)
    ground = scene.cloud.take(np.isin(scene.asprs_class, (2, 9))).enh
    canopy = canopy_height(scene.cloud, scene.asprs_class, scene.height_above_m, scene.grid)
    surface = Surface.of(ground, scene.grid, canopy)
    drawn = []
    for kind, layer, size in (("knoll", "knolls", "height"), ("pit", "pits", "depth")):
        truth = gpd.read_file(folder / "truth.gpkg", layer=layer)
        at = shapely.get_coordinates(truth.geometry[truth[size] >= 0.6].representative_point())
        bumps, carrying, seen = surface.found(kind, least)
        is_true = ~_far_from(bumps.places, at, REACH_M[kind])
        drawn.append(
            pd.DataFrame(terms(bumps, carrying)).assign(
                kind=kind, place=name, is_true=is_true, confidence=likelihood(bumps, carrying, seen, LOG_ODDS[kind])
            )
        )
    return pd.concat(drawn, ignore_index=True)


def planted(places: Iterator[tuple[str, int]], least: Gates) -> tuple[pd.DataFrame, pd.DataFrame]:
    """One row for each shape drawn, with what is measured of it; and one for each shape that must be drawn."""
    drawn, asked = [], []
    for name, seed in places:
        make = tile_surface if name in FIT_TILES + JUDGE_TILES else block_surface
        before = make(name, [], np.random.default_rng(seed))
        shapes = shapes_in(before.grid, np.isfinite(before.bare_earth), np.random.default_rng(seed))
        after = make(name, shapes, np.random.default_rng(seed))
        for kind, reach_m in REACH_M.items():
            bumps, returns, seen = after.found(kind, least)
            is_new = _far_from(bumps.places, before.found(kind, least)[0].places, reach_m)
            own = [s for s in shapes if s.kind == kind]
            at = np.array([[s.east, s.north] for s in own])
            any_size = np.array([s.height_m >= 0.6 for s in own])
            is_true = ~_far_from(bumps.places, at[any_size], reach_m)
            drawn.append(
                pd.DataFrame(terms(bumps, returns)).assign(
                    kind=kind,
                    place=name,
                    seed=seed,
                    is_true=is_true,
                    is_new=is_true | is_new,
                    confidence=likelihood(bumps, returns, seen, LOG_ODDS[kind]),
                )
            )
            tall = np.array([not s.is_low for s in own])
            asked.append(
                pd.DataFrame({"kind": kind, "place": name, "is_met": ~_far_from(at[tall], bumps.places, reach_m)})
            )
    return pd.concat(drawn, ignore_index=True), pd.concat(asked, ignore_index=True)


def _far_from(places: Floats, others: Floats, reach_m: float) -> NDArray[np.bool_]:
    """(n,) bool: places with none of the others within reach."""
    if not len(places) or not len(others):
        return np.ones(len(places), bool)
    return np.asarray(cKDTree(others).query(places)[0] > reach_m)


def judge() -> None:
    """Print recall, precision and calibration of what is planted, then of what is drawn in made scenes."""
    places = [(name, seed) for name in (*JUDGE_TILES, *JUDGE_BLOCKS) for seed in JUDGE_SEEDS]
    drawn, asked = planted(iter(places), DRAWN)
    for kind in REACH_M:
        own, own_asked = drawn[(drawn.kind == kind) & drawn.is_new], asked[asked.kind == kind]
        print(
            f"{kind}s: {own_asked.is_met.mean():.2f} of {len(own_asked)} found, {own.is_true.mean():.2f} of {len(own)} "
            f"drawn right"
        )
        print(reliability_line(kind, own.confidence.to_numpy(np.float64), own.is_true.to_numpy(bool)))
        by_place = own.groupby("place").is_true.agg(["size", "mean"])
        print(by_place.join(own_asked.groupby("place").is_met.mean()).round(2).to_string())
    made = pd.concat([scene_drawn(name, DRAWN) for name in JUDGE_SCENES])
    for kind in REACH_M:
        own = made[made.kind == kind]
        line = reliability_line(kind, own.confidence.to_numpy(np.float64), own.is_true.to_numpy(bool))
        print(f"in made scenes not fitted to, {line}")


PLANTED_WEIGHT = 3.0
"""How much what is planted in real ground counts beside what is drawn in made scenes: there are few of the latter, and
they alone have noses and niches that are neither knoll nor hollow (our choice; by how well both are calibrated)."""


def fit() -> None:
    """Print the weights that fit what is drawn in planted places and in made scenes."""
    places = [(name, seed) for name in (*FIT_TILES, *FIT_BLOCKS) for seed in FIT_SEEDS]
    real, _ = planted(iter(places), FIT_TO[1])
    made = pd.concat([scene_drawn(name, least) for name in FIT_SCENES for least in FIT_TO])
    for kind in REACH_M:
        own = [table[table.kind == kind] for table in (real, made)]
        own[0] = own[0][own[0].is_new]
        weights = (PLANTED_WEIGHT, len(own[0]) / len(own[1]))
        weight = np.concatenate([np.full(len(table), each) for table, each in zip(own, weights, strict=True)])
        both = pd.concat(own)
        found = fitted(both[list(range(7))].to_numpy(np.float64), both.is_true.to_numpy(np.float64), weight)
        print(kind, len(both), found)


LEAST_WEIGHTS = (None, 0.0, 0.5, 0.0, 0.0, 0.0, 0.0)
"""Least weight of each term: none may speak against a shape, and by rule fewer returns lower the confidence; the places
planted have too few such shapes to show by how much (our choice)."""


def fitted(x: Floats, y: Floats, weight: Floats) -> tuple[float, ...]:
    """Weights of logistic regression, drawn a little towards 0."""

    def loss(c: Floats) -> float:
        return float(weight @ (np.logaddexp(0, x @ c) - y * (x @ c))) + 0.5 * float(c[1:] @ c[1:])

    limits = [(least, None) for least in LEAST_WEIGHTS]
    start = np.array([least or 0.0 for least in LEAST_WEIGHTS])
    return tuple(minimize(loss, start, method="L-BFGS-B", bounds=limits).x.round(2).tolist())


if __name__ == "__main__":
    {"planted": judge, "fit": fit}[sys.argv[1]]()
