"""Measure the cliffs of the draft by steps of known place and height planted in real tiles.

    python -m tests.benchmarks.rock_cliffs WHAT

planted        what of the planted steps is drawn, how far their height is out, and how much is drawn before planting
profiles OUT   profiles across the likeliest twenty faces of the forest tiles, drawn or not, as one picture
calibration    how likely drawn faces are said to be planted steps, and how many of them are
fit            FACE_LOG_ODDS of pipeline/rock/cliffs/cliffs.py, from planted steps and made scenes

All need TUSSOCK_DATA.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.optimize import minimize

from pipeline.lattice.grid import Grid, Heights
from pipeline.points.classes import classify_returns
from pipeline.returns.cloud import Cloud
from pipeline.rock.cliffs.cliffs import MOST_TURN_DEG, Face, confidence_of, face_terms, find_cliffs, measure_faces
from pipeline.settings import PointsSettings, TerrainSettings
from pipeline.terrain.relief import gradient
from pipeline.terrain.surface import ground_support, lowest_last, surface_from_ground
from tests.benchmarks import planting
from tests.benchmarks.reliability import reliability_line
from tests.benchmarks.rock_fit import FIT_MADE
from tests.benchmarks.rock_scenes import SETTINGS, grid_of, made_cloud, read_tile

HEIGHTS_M = (1.0, 1.5, 2.0, 3.0, 4.0)
"""Heights of the planted steps, taken by turns."""
APART_M = 40.0
"""Steps fade out over 25 m behind, so that this far apart they do not disturb each other."""
MARGIN_M = 25.0
"""Middles of steps lie so far from the edge of a tile, so that all of a step is in it."""
NEAR_M = 4.0
"""A planted step is met where a drawn line runs this close: less than half of what its shortest symbol covers."""
STEP_TILES = ("bc_1", "bc_2", "bc_3", "lava", "boreal")


@dataclass(frozen=True)
class Ground:
    """A classified cloud and the grids made of it."""

    cloud: Cloud
    is_ground: NDArray[np.bool_]
    grid: Grid
    bare_earth: Heights
    support: Heights
    lowest: Heights

    def faces(self) -> list[Face]:
        """Every face that may be a cliff."""
        return measure_faces(
            self.bare_earth, self.support, self.grid, lowest=self.lowest, excess_m=SETTINGS.cliff_excess_m
        )

    def likely(self) -> gpd.GeoDataFrame:
        """Every face that may be a cliff, with its confidence."""
        return find_cliffs(
            self.bare_earth,
            self.support,
            self.grid,
            lowest=self.lowest,
            excess_m=SETTINGS.cliff_excess_m,
            impassable_min_height_m=SETTINGS.impassable_min_height_m,
        )

    def cliffs(self) -> gpd.GeoDataFrame:
        """The cliffs that the draft would draw."""
        table = self.likely()
        return table[table.confidence >= SETTINGS.least_cliff_confidence].reset_index(drop=True)


@dataclass(frozen=True)
class Step:
    """A planted step: its edge with the fall on the right, and its height."""

    edge: shapely.LineString
    height_m: float


def ground_of(cloud: Cloud) -> Ground:
    """The ground as the workflow makes it."""
    classes = classify_returns(cloud, settings=PointsSettings()).asprs_class
    grid, is_ground = grid_of(cloud), np.isin(classes, (2, 9))
    earth = cloud.take(is_ground)
    heights = surface_from_ground(earth.enh, grid, settings=TerrainSettings())
    lowest = lowest_last(cloud, classes, grid)
    return Ground(cloud, is_ground, grid, heights, ground_support(earth.en, grid), lowest)


def steps_in(ground: Ground, rng: np.random.Generator) -> list[Step]:
    """Steps along the contours, the high side up the hill, apart from each other and from cliffs that are there."""
    to_east, to_north = gradient(ground.bare_earth, ground.grid)
    west, south, east, north = ground.grid.bounds
    there = ground.cliffs().geometry
    steps: list[Step] = []
    for _ in range(300):
        place = rng.uniform((west + MARGIN_M, south + MARGIN_M), (east - MARGIN_M, north - MARGIN_M))
        point = shapely.Point(place)
        row, col = (int(v[0]) for v in ground.grid.row_col(place[:1], place[1:]))
        up = np.array([to_east[row, col], to_north[row, col]])
        taken = [step.edge for step in steps]
        free = all(point.distance(other) > APART_M for other in [*taken, *there])
        if not free or not np.hypot(*up) > 1e-3 or ground.support[row, col] > 2:
            continue
        along = np.array([up[1], -up[0]]) / np.hypot(*up)
        height_m = HEIGHTS_M[len(steps) % len(HEIGHTS_M)]
        half = along * (rng.uniform(6, 15) + planting.TAPER_M_PER_M * height_m)
        steps.append(Step(shapely.LineString([place - half, place + half]), height_m))
    return steps


def with_steps(cloud: Cloud, steps: list[Step]) -> Cloud:
    """The cloud with every step in it."""
    for step in steps:
        start, end = step.edge.coords
        cloud = planting.raise_step(cloud, start, end, height_m=step.height_m)
    return cloud


def share_met(step: Step, cliffs: gpd.GeoDataFrame) -> float:
    """Share of a step's edge, without the tapering ends, with a drawn line near."""
    taper_m = planting.TAPER_M_PER_M * step.height_m
    along = [step.edge.interpolate(d) for d in np.arange(taper_m, step.edge.length - taper_m, 1.0)]
    lines = cliffs.geometry.union_all()
    return float(np.mean([point.distance(lines) <= NEAR_M for point in along])) if len(cliffs) else 0.0


def measured(name: str, seed: int) -> list[dict[str, object]]:
    """One row a planted step of a tile."""
    before = ground_of(read_tile(name))
    there = before.cliffs()
    hectares = before.grid.rows * before.grid.cols * before.grid.cell_m**2 / 1e4
    steps = steps_in(before, np.random.default_rng(seed))
    after = ground_of(with_steps(before.cloud, steps)).cliffs()
    rows: list[dict[str, object]] = []
    for step in steps:
        near = after[after.geometry.distance(step.edge) <= NEAR_M]
        slope = float(near.width_m.median()) if len(near) else np.nan
        rows.append(
            {
                "tile": name,
                "height m": step.height_m,
                "recall": share_met(step, after),
                "height error m": abs(float(near.height_m.max()) - step.height_m) if len(near) else np.nan,
                "face m": slope,
                "drawn before m/ha": there.geometry.length.sum() / hectares,
            }
        )
    return rows


def planted() -> None:
    """Print what becomes of the planted steps."""
    table = pd.DataFrame([row for name in STEP_TILES for seed in (1, 2) for row in measured(name, seed)])
    print(table.groupby("height m")[["recall", "height error m"]].agg(["size", "mean", "median"]).round(2).to_string())
    tall = table[table["height m"] >= 1.5]
    columns = ["recall", "height error m", "face m", "drawn before m/ha"]
    print("from 1.5 m, by tile:")
    print(tall.groupby("tile")[columns].mean().round(2).to_string(), f"\nall: {tall.recall.mean():.2f}")


CALIBRATION_SEEDS = (21, 22)
"""Seeds of planted steps that nothing was fitted to."""


def calibration() -> None:
    """Print stated confidence against truth of what is drawn in planted tiles but was not drawn before."""
    parts = []
    for name in STEP_TILES:
        before = ground_of(read_tile(name))
        there = list(before.likely().geometry)
        for seed in CALIBRATION_SEEDS:
            steps = steps_in(before, np.random.default_rng(seed))
            after = ground_of(with_steps(before.cloud, steps))
            table = labelled(after, [step.edge for step in steps], []).assign(tile=name)
            near = shapely.union_all(there).buffer(NEAR_M)
            is_old = np.array([face.edge.intersection(near).length > face.edge.length / 2 for face in table.face], bool)
            parts.append(table[table.is_cliff | ~is_old])
    table = pd.concat(parts)
    table["confidence"] = [confidence_of(face) for face in table.face]
    table = table[table.confidence >= SETTINGS.least_cliff_confidence]
    print(f"{len(table)} faces, {table.is_cliff.mean():.2f} of them planted")
    print(reliability_line("cliff", table.confidence.to_numpy(np.float64), table.is_cliff.to_numpy(bool)))


def fit() -> None:
    """Print the log odds that fit the faces of planted tiles and made scenes.

    A tile is planted three times and each planting counts a third; planted steps, of which there are more than in any
    terrain, count a quarter; made scenes count double, for the banks and walls in them that are no cliffs. Faces that
    turn far round are left out, because a rule decides on them.
    """
    parts = []
    for name in (*STEP_TILES, "lake"):
        before = ground_of(read_tile(name))
        for seed in (11, 12, 13):
            steps = steps_in(before, np.random.default_rng(seed))
            edges = [step.edge for step in steps if step.height_m > 1]
            unsure = [step.edge for step in steps if step.height_m <= 1]
            after = ground_of(with_steps(before.cloud, steps))
            parts.append(labelled(after, edges, unsure).assign(weight=1 / 3, true_weight=0.25))
    for seed, per_m2 in FIT_MADE[:14]:
        cloud, truth = made_cloud(seed, per_m2)
        parts.append(labelled(ground_of(cloud), list(truth["cliffs"].geometry), []).assign(weight=2.0, true_weight=2.0))
    table = pd.concat(parts)
    terms = np.stack([face_terms(face) for face in table.face])
    y = table.is_cliff.to_numpy(float)
    weight = np.where(y > 0, table.true_weight, table.weight)

    def loss(c: NDArray[np.float64]) -> float:
        odds = terms @ c
        return float(weight @ (np.logaddexp(0, odds) - y * odds)) + 0.01 * float(c[1:] @ c[1:])

    print("FACE_LOG_ODDS =", tuple(minimize(loss, np.zeros(terms.shape[1]), method="BFGS").x.round(2).tolist()))


def labelled(ground: Ground, edges: list[shapely.LineString], unsure: list[shapely.LineString]) -> pd.DataFrame:
    """Every face and whether most of it lies on one of the edges; those on unsure edges are left out."""
    on, doubtful = (shapely.union_all(lines).buffer(NEAR_M) for lines in (edges, unsure))
    faces = [face for face in ground.faces() if face.turn_deg <= MOST_TURN_DEG]
    lines = np.array([face.edge for face in faces], object)
    half = 0.5 * shapely.length(lines)
    table = pd.DataFrame({"face": faces, "is_cliff": shapely.length(shapely.intersection(lines, on)) > half})
    return table[shapely.length(shapely.intersection(lines, doubtful)) <= half]


def picture(path: Path) -> None:
    """Profiles across the likeliest twenty faces of the forest tiles: ground returns black, others green."""
    found = []
    for name in ("bc_1", "bc_2", "bc_3"):
        ground = ground_of(read_tile(name))
        found += [(row.confidence, name, row, ground) for row in ground.likely().itertuples()]
    found.sort(key=lambda one: -one[0])
    width, height, scale = 300, 200, 14
    sheet = Image.new("RGB", (5 * width, 4 * height), "white")
    pen = ImageDraw.Draw(sheet)
    for k, (sure, name, row, ground) in enumerate(found[:20]):
        left, top = (k % 5) * width, (k // 5) * height
        middle, cloud = row.geometry.interpolate(0.5, normalized=True), ground.cloud
        turn = np.radians(row.angle_deg)
        d_east, d_north = cloud.east - middle.x, cloud.north - middle.y
        down = d_east * np.sin(turn) + d_north * np.cos(turn)
        near = (np.abs(down) < 10) & (np.abs(d_east * np.cos(turn) - d_north * np.sin(turn)) < 1.0)
        x = left + width / 2 + down[near] * scale
        y = top + height / 2 - (cloud.height[near] - row.elevation_m) * scale
        for px, py, is_ground in zip(x, y, ground.is_ground[near], strict=True):
            if top < py < top + height - 2:
                pen.ellipse((px - 2, py - 2, px + 2, py + 2), fill="black" if is_ground else "green")
        pen.rectangle((left, top, left + width - 1, top + height - 1), outline="grey")
        pen.text((left + 5, top + 4), f"{k + 1} {name} {row.symbol} p {sure:.2f} h {row.height_m:.1f}", fill="red")
        print(k + 1, name, row.symbol, f"{middle.x:.1f} {middle.y:.1f}", f"{sure:.2f}", row.evidence)
    sheet.save(path)


if __name__ == "__main__":
    if sys.argv[1] == "profiles":
        picture(Path(sys.argv[2]))
    else:
        {"planted": planted, "calibration": calibration, "fit": fit}[sys.argv[1]]()
