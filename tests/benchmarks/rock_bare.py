"""Measure the bare rock of the draft by patches of known place and reflectance planted in real tiles and made scenes.

    python -m tests.benchmarks.rock_bare WHAT

planted [SEED ...]   what of the planted rock is drawn, by size and reflectance, and what of lookalikes
before               what is drawn before anything is planted, and what the intensity of each tile shows
picture OUT          brightness and share of lone returns around planted patches of rock, fields and yards, side by side

No open lidar survey with mapped bare rock was found, so this is planted truth: within a patch, in the open or where
forest stood, every pulse keeps one return, on the ground, whose intensity is drawn. What it cannot tell is how real
rock reflects: lichen, moss in the cracks, water and another wavelength all make rock brighter or darker than here.

A field and a yard are level and must not be drawn. Burnt ground keeps the relief of the place and is dark: nothing in
a survey tells it from rock, so it is drawn and its evidence says what else it may be. TUSSOCK_DATA names the tiles.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import shapely.affinity
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from pipeline.lattice.grid import Grid, Heights
from pipeline.points.classes import classify_returns
from pipeline.returns.cloud import Cloud
from pipeline.rock.ground.bare_rock import DRY_MIN_PULSE_RATIO, MIN_LONE_RATIO, find_bare_rock, unevenness
from pipeline.rock.ground.brightness import Brightness, ground_brightness
from pipeline.rock.ground.stony import find_stony_ground
from pipeline.settings import LayerSettings, PointsSettings, TerrainSettings
from pipeline.terrain.counts import lone_ground
from pipeline.terrain.profile import profile_grids
from pipeline.terrain.surface import ground_support, surface_from_ground
from tests.benchmarks.rock_scenes import SETTINGS, data_folder, grid_of, made_cloud, read_laz, read_tile

Floats = NDArray[np.float64]

AREAS_M2 = (150.0, 300.0, 600.0, 1500.0)
"""Areas of the patches, taken by turns; the first lies below the least area of 214."""
RATIOS = (0.3, 0.45, 0.6, 0.75, 0.9)
"""Brightness of a patch beside the ground around, drawn by lot."""
KINDS = ("rock", "rock", "field", "yard", "burnt")
"""Twice as much rock as of each lookalike."""
APART_M = 15.0
"""Least gap between two patches: wider than any window that brightness or relief is taken over."""
MARGIN_M = 8.0
"""Least gap between a patch and the edge of the tile."""
FOUND_SHARE = 0.5
"""A patch is found where more than this share of it is drawn."""
SPECKLE = 0.12
"""Spread of the intensity of one return on even ground: 0.1 to 0.15 in surveys (measured)."""
TILES = ("bc_1", "bc_2", "bc_3", "lava", "lake", "made 61", "made 62", "scene_a", "scene_b")
OTHERS = ("boreal", "crop_1", "bat", "pine_43", "pine_45")
"""Too small to be planted in, or without intensity."""


@dataclass(frozen=True)
class Patch:
    """A patch of ground that is made rock or something like it; `ratio` is its brightness beside what was there."""

    kind: str
    shape: shapely.Polygon
    ratio: float
    seed: int


@dataclass(frozen=True)
class Ground:
    """A classified cloud and what is made of it."""

    cloud: Cloud
    grid: Grid
    bare_earth: Heights
    support: Heights
    brightness: Brightness
    lone: NDArray[np.bool_]

    def bare_rock(self) -> gpd.GeoDataFrame:
        """The areas 214 that the draft would draw."""
        return find_bare_rock(
            self.bare_earth,
            self.support,
            self.brightness,
            self.grid,
            max_brightness_ratio=SETTINGS.bare_rock_max_brightness_ratio,
            stony_slow_m=SETTINGS.stony_slow_m,
        )

    def stony(self) -> gpd.GeoDataFrame:
        """The areas 210 to 212 that the draft would draw."""
        return find_stony_ground(
            self.bare_earth,
            self.support,
            self.grid,
            brightness=self.brightness,
            slow_m=SETTINGS.stony_slow_m,
            dark_ratio=SETTINGS.bare_rock_max_brightness_ratio,
        )


def cloud_of(name: str) -> Cloud:
    """A tile, a scene of the measuring data or a made scene."""
    if name.startswith("made"):
        return made_cloud(int(name.split()[1]), 8.0)[0]
    if name.startswith("scene"):
        tiles = sorted((data_folder() / name / "tiles").glob("*.laz"))
        return Cloud.join([read_laz(path) for path in tiles])
    return read_tile(name)


def ground_of(cloud: Cloud) -> Ground:
    """What the workflow makes of a cloud, as far as bare rock needs it."""
    classes = classify_returns(cloud, settings=PointsSettings())
    grid, layers = grid_of(cloud), LayerSettings()
    earth = cloud.take(np.isin(classes.asprs_class, (2, 9)))
    heights = surface_from_ground(earth.enh, grid, settings=TerrainSettings())
    counts = lone_ground(cloud, classes.asprs_class, classes.height_above_m, grid)
    counts |= profile_grids(
        cloud,
        classes.asprs_class,
        classes.height_above_m,
        grid,
        running_bottom_m=layers.running_bottom_m,
        visibility_bottom_m=layers.visibility_bottom_m,
        running_top_m=layers.running_top_m,
    )
    brightness = ground_brightness(counts, grid)
    lone = (classes.asprs_class == 2) & (cloud.n_returns <= 1)
    return Ground(cloud, grid, heights, ground_support(earth.en, grid), brightness, lone)


# ---------------------------------------------------------------- planting


def blob(east: float, north: float, area_m2: float, rng: np.random.Generator) -> shapely.Polygon:
    """A patch of this area with an uneven outline."""
    turn = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    wave = rng.uniform(0, 2 * np.pi, 3)
    radius = (
        1 + 0.15 * np.cos(2 * turn + wave[0]) + 0.1 * np.cos(3 * turn + wave[1]) + 0.05 * np.cos(7 * turn + wave[2])
    )
    unit = shapely.Polygon(np.column_stack((radius * np.cos(turn), radius * np.sin(turn))))
    scale = np.sqrt(area_m2 / unit.area)
    return shapely.affinity.translate(shapely.affinity.scale(unit, scale, scale, origin=(0, 0)), east, north)


def patches_in(ground: Ground, rng: np.random.Generator) -> list[Patch]:
    """Patches apart from each other on ground that was seen and is not too steep to be run over."""
    west, south, east, north = ground.grid.bounds
    known = ndimage.minimum_filter(np.isfinite(ground.bare_earth) & (ground.support < 3), 5)
    taken: list[Patch] = []
    for i in range(400):
        area = AREAS_M2[len(taken) % len(AREAS_M2)]
        place = rng.uniform((west + MARGIN_M, south + MARGIN_M), (east - MARGIN_M, north - MARGIN_M))
        shape = blob(place[0], place[1], area, np.random.default_rng(1000 + i))
        is_inside = shapely.box(west, south, east, north).buffer(-MARGIN_M).contains(shape)
        row, col = ground.grid.row_col(*shapely.get_coordinates(shape).T) if is_inside else (None, None)
        is_seen = is_inside and known[row, col].mean() > 0.9
        if is_seen and all(shape.distance(other.shape) > APART_M for other in taken):
            kind = KINDS[len(taken) // len(AREAS_M2) % len(KINDS)]
            taken.append(Patch(kind, shape, float(rng.choice(RATIOS)), int(rng.integers(2**31))))
    return taken


def plant(ground: Ground, patches: list[Patch]) -> Cloud:
    """The cloud with the patches in it: one return of every pulse that ends there, on the new ground."""
    cloud = ground.cloud
    lone, shine = cloud.take(ground.lone), cloud.intensity[ground.lone]
    typical = float(np.median(shine))
    for patch in patches:
        inside = shapely.contains_xy(patch.shape, cloud.east, cloud.north)
        cloud = cloud.take(~inside | cloud.is_last)
        inside = shapely.contains_xy(patch.shape, cloud.east, cloud.north)
        near = shine[shapely.contains_xy(patch.shape.buffer(APART_M), lone.east, lone.north)]
        reference = float(np.median(near)) if len(near) > 50 else typical
        rng = np.random.default_rng(patch.seed)
        height, intensity = cloud.height.copy(), cloud.intensity.copy()
        height[inside] = _surface(ground, patch, cloud.east[inside], cloud.north[inside], rng)
        height[inside] += rng.normal(0, 0.03, inside.sum())
        drawn = reference * patch.ratio * np.exp(rng.normal(0, SPECKLE, inside.sum()))
        intensity[inside] = np.clip(drawn, 1, 65535).round().astype(np.uint16)
        ones = np.where(inside, 1, cloud.n_returns).astype(np.uint8)
        number = np.where(inside, 1, cloud.return_number).astype(np.uint8)
        cloud = replace(cloud, height=height, intensity=intensity, n_returns=ones, return_number=number)
    return cloud


def _surface(ground: Ground, patch: Patch, east: Floats, north: Floats, rng: np.random.Generator) -> Floats:
    """Height of the patch at places: the ground's own, what is added to it, or a plane that is put in its place."""
    row, col = ground.grid.row_col(east, north)
    own = np.nan_to_num(ground.bare_earth[row, col].astype(np.float64), nan=float(np.nanmean(ground.bare_earth)))
    if patch.kind == "burnt":
        return own
    if patch.kind == "rock":
        return own + _relief(east, north, rng, rms_m=float(rng.uniform(0.12, 0.25)))
    terms = np.column_stack((np.ones(len(east)), east - east.mean(), north - north.mean()))
    plane = terms @ np.linalg.lstsq(terms, own, rcond=None)[0]
    furrows = 0.08 * np.sin(2 * np.pi * east / 0.7) if patch.kind == "field" else 0.0
    edge_m = shapely.distance(patch.shape.exterior, shapely.points(east, north))
    share = np.clip(edge_m / 3, 0, 1)
    levelled: Floats = own + share * (plane + furrows - own)
    return levelled


def _relief(east: Floats, north: Floats, rng: np.random.Generator, *, rms_m: float) -> Floats:
    """Unevenness in waves of 3 to 12 m, as ice and joints leave it (our choice)."""
    total = np.zeros(len(east))
    for _ in range(24):
        length, turn, phase = np.exp(rng.uniform(np.log(3), np.log(12))), *rng.uniform(0, 2 * np.pi, 2)
        total += np.sin(2 * np.pi * (east * np.cos(turn) + north * np.sin(turn)) / length + phase)
    scaled: Floats = rms_m * total / np.sqrt(12)
    return scaled


# ---------------------------------------------------------------- measuring


def measured(name: str, seed: int) -> list[dict[str, object]]:
    """One row a patch: how much of it is drawn; and one of what is drawn outside all patches."""
    before = ground_of(cloud_of(name))
    patches = patches_in(before, np.random.default_rng(seed))
    after = ground_of(plant(before, patches))
    drawn = after.bare_rock().geometry.union_all()
    rows: list[dict[str, object]] = []
    for patch in patches:
        share = patch.shape.intersection(drawn).area / patch.shape.area
        rows.append({"tile": name, "kind": patch.kind, "ratio": patch.ratio, "area": patch.shape.area, "share": share})
    outside = drawn.difference(shapely.union_all([patch.shape.buffer(2) for patch in patches]))
    return [*rows, {"tile": name, "kind": "outside", "ratio": np.nan, "area": outside.area, "share": np.nan}]


def planted(seeds: list[int]) -> None:
    """Print what becomes of the patches."""
    table = pd.DataFrame([row for name in TILES for seed in seeds for row in measured(name, seed)])
    table["size m2"] = table.area.round(-1)
    table["found"] = table.share > FOUND_SHARE
    table["drawn m2"] = table.share * table.area
    rock = table[table.kind == "rock"]
    sums = {"n": ("found", "size"), "found": ("found", "mean"), "area": ("share", "mean")}
    print("rock by brightness beside the ground around (150 m2 is below the least area and must not be drawn)")
    print(rock.pivot_table(index="size m2", columns="ratio", values="found", aggfunc=["mean", "size"]).round(2))
    fit = rock[(rock["size m2"] >= 300) & (rock.ratio <= 0.6)]
    print("rock from 300 m2 at ratios to 0.6, by tile")
    print(fit.groupby("tile").agg(**sums).round(2))
    print(f"all: found {fit.found.mean():.2f} of {len(fit)}")
    print("lookalikes from 300 m2 at ratios to 0.6")
    alike = table[~table.kind.isin(["rock", "outside"]) & (table["size m2"] >= 300) & (table.ratio <= 0.6)]
    print(alike.groupby("kind").agg(**sums, drawn_m2=("drawn m2", "sum"), of_m2=("area", "sum")).round(2))
    print("drawn outside patches, m2:", table[table.kind == "outside"].groupby("tile").area.sum().round(0).to_dict())


def before() -> None:
    """Print what is drawn in the tiles as they are."""
    for name in (*TILES, *OTHERS):
        ground = ground_of(cloud_of(name))
        light, stony = ground.brightness, ground.stony()
        bare = light.lone_ratio >= MIN_LONE_RATIO
        bare &= (light.pulse_ratio >= DRY_MIN_PULSE_RATIO) & np.isfinite(light.ratio)
        shades = np.round(np.percentile(light.ratio[bare], (5, 50, 95)), 2).tolist() if bare.any() else None
        known = np.isfinite(light.ratio) & np.isfinite(ground.bare_earth)
        relief = unevenness(ground.bare_earth, ground.grid)
        linked = np.corrcoef(light.ratio[known], relief[known])[0, 1] if known.any() else np.nan
        sure = [f"{row.symbol} {row.confidence:.2f}" for row in stony.itertuples()]
        print(
            f"{name}: 214 {ground.bare_rock().area.sum():.0f} m2; bare ground {bare.sum() * ground.grid.cell_m**2:.0f}"
            f" m2 of brightness {shades} (5, 50, 95 %); vegetated ground varies by {light.spread_ratio:.3f}; "
            f"correlation of brightness with relief {linked:.2f}; stony {sure}"
        )


def picture(path: Path) -> None:
    """Brightness and share of lone returns around planted patches, as one picture."""
    start = ground_of(cloud_of("made 61"))
    patches = patches_in(start, np.random.default_rng(1))
    after = ground_of(plant(start, patches))
    print(after.bare_rock()[["confidence", "evidence"]].to_string())
    grey = [
        np.clip(np.nan_to_num(values) / most * 255, 0, 255).astype(np.uint8)
        for values, most in ((after.brightness.ratio, 1.5), (after.brightness.lone_ratio, 1.0))
    ]
    Image.fromarray(np.concatenate(grey, axis=1)).save(path)


if __name__ == "__main__":
    if sys.argv[1] == "picture":
        picture(Path(sys.argv[2]))
    elif sys.argv[1] == "planted":
        planted([int(text) for text in sys.argv[2:]] or [1, 2, 3])
    else:
        {"before": before}[sys.argv[1]]()
