"""Measure the rock of the draft, and fit the tables of the boulder confidence.

    TUSSOCK_DATA=... python -m tests.benchmarks.rock fit [FILE]   new pipeline/rock/tables.py from planted and made scenes
    TUSSOCK_DATA=... python -m tests.benchmarks.rock planted    recall and false boulders in real tiles
    python -m tests.benchmarks.rock made                        recall, precision, height, calibration in made scenes
    python -m tests.benchmarks.rock confusion                   boulders against bushes, stumps, piles and huts
    python -m tests.benchmarks.rock density                     recall by pulse density and canopy -> config/
    TUSSOCK_DATA=... python -m tests.benchmarks.rock profiles OUT   the likeliest boulders and cliffs, as pictures

Made scenes come from the project's own scene maker; those used to fit and those used to judge have different seeds.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.spatial import cKDTree

from pipeline.grid import Grid
from pipeline.points.classes import classify_returns
from pipeline.points.cloud import Cloud
from pipeline.rock.boulders import REACH_M, keep_best
from pipeline.rock.confidence import boulder_terms, first_terms
from pipeline.rock.evidence import look_at, weigh_lumps
from pipeline.rock.lumps import find_lumps, low_returns
from pipeline.settings import PointsSettings, RockSettings
from sample_tiles.scene import records
from sample_tiles.scene.place import make_place
from sample_tiles.scene.pulses import fly
from tests.benchmarks import planting

SETTINGS = RockSettings()
CRS = "EPSG:32633"
ROOT = Path(__file__).resolve().parents[2]
TILES = {
    "bc_1": "bc_forest/bc_1.laz",
    "bc_2": "bc_forest/bc_2.laz",
    "bc_3": "bc_forest/bc_3.laz",
    "boreal": "boreal/boreal.laz",
    "lava": "lava_forest/hawaii_forest_lava_150m.laz",
    "lake": "lake_edge/lake_edge.laz",
    "crop_1": "classes/crop_1.laz",
    "bat": "classes/bat.laz",
    **{f"pine_{i}": f"pine_plots/TEAK_0{i}.laz" for i in range(43, 53)},
}
FIT_MADE = ((21, 8.0), (22, 4.0), (23, 12.0), (24, 8.0), (25, 2.0), (26, 4.0), (27, 6.0), (28, 8.0))
JUDGE_MADE = ((31, 8.0), (32, 4.0), (33, 8.0), (34, 2.0), (35, 16.0), (36, 8.0), (37, 4.0))
PER_KIND = {"boulder": 10, "bush": 6, "stump": 3, "root plate": 2, "log pile": 2, "hut": 1}
"""Objects planted per share of a tile; about 16 to 40 a hectare, far more boulders than a forest has."""
PLANTED_WEIGHT = 0.35
"""Weight of planted boulders in fitting, so that they count about as often as boulders are met: 6 to 10 a hectare."""

WEIGHT_OF_KIND = {"bush": 0.3, "stump": 0.15, "root plate": 0.1, "log pile": 0.1, "hut": 0.05}
"""The same for what is not a boulder (common practice, no source): piles and huts are rare where maps are made."""

DENSE_WEIGHT = 0.3


@dataclass(frozen=True)
class Scene:
    """A classified cloud with known objects in it."""

    name: str
    cloud: Cloud
    asprs_class: NDArray[np.uint8]
    height_above_m: NDArray[np.float32]
    grid: Grid
    things: list[planting.Planted]
    reaching_per_m2: NDArray[np.float64]
    is_planted: bool

    @property
    def hectares(self) -> float:
        """Area of the grid."""
        return self.grid.rows * self.grid.cols * self.grid.cell_m**2 / 1e4


# ------------------------------------------------------------------------------------------------------- scenes


def read_tile(name: str) -> Cloud:
    """A real tile of the measuring data, named by TUSSOCK_DATA."""
    if "TUSSOCK_DATA" not in os.environ:
        raise SystemExit("set TUSSOCK_DATA to the folder with bc_forest/, boreal/, ...")
    las = laspy.read(Path(os.environ["TUSSOCK_DATA"]) / TILES[name])
    has_time = "gps_time" in las.point_format.dimension_names
    cloud = Cloud.of(
        np.column_stack((las.x, las.y, las.z)),
        intensity=np.asarray(las.intensity),
        return_number=np.asarray(las.return_number).astype(np.uint8),
        n_returns=np.asarray(las.number_of_returns).astype(np.uint8),
        gps_time=np.asarray(las.gps_time, np.float64) if has_time else np.zeros(len(las)),
        flight_line=np.asarray(las.point_source_id).astype(np.uint16),
    )
    return cloud.take((cloud.return_number > 0) & ~np.isin(np.asarray(las.classification), (7, 18, 65, 66)))


def grid_of(cloud: Cloud) -> Grid:
    """The grid a survey of this density would get, over the cloud."""
    bounds = (cloud.east.min(), cloud.north.min(), cloud.east.max(), cloud.north.max())
    area = (bounds[2] - bounds[0]) * (bounds[3] - bounds[1])
    per_m2 = float(cloud.is_last.sum()) / area
    return Grid.covering(bounds, cell_m=0.5 if per_m2 >= 3 else 1.0, crs=CRS)


def planted_scene(name: str, seed: int, *, with_things: bool = True) -> Scene:
    """A real tile, with objects planted in it unless told otherwise."""
    cloud = read_tile(name)
    before = classify_returns(cloud, settings=PointsSettings())
    things: list[planting.Planted] = []
    rng = np.random.default_rng(seed)
    grid = grid_of(cloud)
    if with_things:
        share = grid.rows * grid.cols * grid.cell_m**2 / 6000
        counts = {kind: max(1, round(n * share)) for kind, n in PER_KIND.items()}
        things = planting.scatter(cloud, rng, counts=counts)
    reaching = planting.reaching_per_m2(cloud, before.height_above_m, things)
    if things:
        cloud = planting.plant(cloud, before.height_above_m, things, rng)
    after = classify_returns(cloud, settings=PointsSettings()) if things else before
    return Scene(f"{name}/{seed}", cloud, after.asprs_class, after.height_above_m, grid, things, reaching, True)


def made_cloud(seed: int, per_m2: float, size_m: float = 250.0) -> tuple[Cloud, dict[str, gpd.GeoDataFrame]]:
    """A cloud of the project's scene maker and its truth."""
    place = make_place(seed=seed, size_m=size_m)
    r = records.join(fly(place, seed=seed, pulses_per_m2=per_m2))
    origin = (500000.0, 6000000.0)
    cloud = Cloud.of(
        np.column_stack((r.x + origin[0], r.y + origin[1], r.z)),
        intensity=r.intensity,
        return_number=r.return_number,
        n_returns=r.n_returns,
        gps_time=r.gps_time,
        flight_line=r.flight_line,
    )
    return cloud, records.truth_tables(place, origin)


def made_scene(seed: int, per_m2: float) -> Scene:
    """A made scene with its own boulders as the known objects."""
    cloud, truth = made_cloud(seed, per_m2)
    classes = classify_returns(cloud, settings=PointsSettings())
    b = truth["boulders"]
    things = [
        planting.Planted("boulder", p.x, p.y, h, 2 * r, 2 * r, 0.0, 0)
        for p, h, r in zip(b.geometry, b.height, b.radius, strict=True)
    ]
    grid = grid_of(cloud)
    reaching = planting.reaching_per_m2(cloud, classes.height_above_m, things)
    return Scene(f"made/{seed}", cloud, classes.asprs_class, classes.height_above_m, grid, things, reaching, False)


def fit_scenes() -> Iterator[Scene]:
    """Every scene the tables are fitted to."""
    for name in TILES:
        for seed in (1, 2) if name != "lake" else (1,):
            yield planted_scene(name, seed)
    for seed, per_m2 in FIT_MADE:
        yield made_scene(seed, per_m2)


# ------------------------------------------------------------------------------------------------------- fitting


def candidates(scene: Scene) -> pd.DataFrame:
    """All lumps of a scene with the measures of both looks and what they are."""
    near = scene.grid.pad(REACH_M)
    believed = np.isfinite(scene.height_above_m)
    low = low_returns(scene.cloud.take(believed), scene.height_above_m[believed], near, settings=SETTINGS)
    lumps = find_lumps(low, near, settings=SETTINGS)
    first = look_at(low, lumps, settings=SETTINGS)
    evidence, solid = weigh_lumps(low, lumps, settings=SETTINGS)
    table = pd.DataFrame({f"a_{k}": v for k, v in first_terms(first).items()})
    table = table.assign(**{f"b_{k}": v for k, v in boulder_terms(evidence).items()})
    table = table.assign(east=solid.east, north=solid.north, radius=solid.half_axes_m.mean(axis=1))
    table["tall"] = evidence.height_m
    table = table[(evidence.n_on >= 3) & (evidence.height_m >= SETTINGS.least_height_m) & (first.n_on >= 3)].copy()
    table["label"], table["thing"], table["kind"] = label(table, scene)
    table["scene"], table["is_planted"], table["hectares"] = scene.name, scene.is_planted, scene.hectares
    return table


def label(table: pd.DataFrame, scene: Scene) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.object_]]:
    """1 boulder well met, 0 something else, -1 neither; the nearest object within reach (-1: none) and its kind."""
    n = len(table)
    if not scene.things:
        return np.zeros(n, np.int64), np.full(n, -1), np.full(n, "none", object)
    places = np.array([(t.east, t.north) for t in scene.things])
    radius = np.array([max(t.width_m, t.length_m) / 2 for t in scene.things])
    tall = np.array([t.height_m for t in scene.things])
    kinds = np.array([t.kind for t in scene.things], object)
    apart, i = cKDTree(places).query(table[["east", "north"]].to_numpy())
    on = apart < np.maximum(radius[i], 0.8) + 0.3
    is_boulder = on & (kinds[i] == "boulder") & (tall[i] >= SETTINGS.least_height_m)
    met = is_boulder & (np.abs(table.tall - tall[i]) < 0.35 + 0.1 * tall[i])
    met &= apart < 0.6 * np.maximum(table.radius, 0.6)
    # A disc on part of a boulder has no edge to show: it is neither.
    size = np.array([np.sqrt(t.width_m * t.length_m) for t in scene.things])[i]
    met &= (2 * table.radius > 0.65 * size) & (2 * table.radius < 1.6 * size)
    other = (on & (kinds[i] != "boulder")) | (apart > radius[i] + 3)
    return np.where(met, 1, np.where(other, 0, -1)), np.where(on, i, -1), np.where(on, kinds[i], "none")


def knots_of(values: NDArray[np.float64], label_: NDArray[np.int64], n: int = 5) -> NDArray[np.float64]:
    """Knots that share out both boulders and others."""
    parts = [
        np.quantile(values[label_ == 1], (0.02, 0.1, 0.25, 0.5, 0.75, 0.9, 0.98)),
        np.quantile(values[label_ == 0], (0.02, 0.1, 0.5, 0.9, 0.98)),
    ]
    knots = np.unique(np.round(np.quantile(np.concatenate(parts), np.linspace(0, 1, n)), 2))
    return knots if len(knots) > 1 else np.array([knots[0], knots[0] + 0.5])


def hats(values: NDArray[np.float64], knots: NDArray[np.float64]) -> NDArray[np.float64]:
    """Piecewise linear basis, without the first knot."""
    return np.column_stack([np.interp(values, knots, row) for row in np.eye(len(knots))[1:]])


def fit_tables(
    table: pd.DataFrame, prefix: str
) -> tuple[float, dict[str, tuple[tuple[float, ...], tuple[float, ...]]]]:
    """Offset and tables that fit the labels: logistic regression with a ridge."""
    used = table[table.label >= 0]
    y = used.label.to_numpy()
    names = [name for name in used if name.startswith(prefix)]
    knots = {name: knots_of(used[name].to_numpy(), y) for name in names}
    basis = np.hstack([hats(used[name].to_numpy(), knots[name]) for name in names])
    weight = weights_of(used, y == 1)

    def loss(c: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        odds = c[0] + basis @ c[1:]
        value = float(weight @ (np.logaddexp(0, odds) - y * odds)) + float(c[1:] @ c[1:])
        left = weight * (1 / (1 + np.exp(-odds)) - y)
        return value, np.append(left.sum(), basis.T @ left + 2 * c[1:])

    found = minimize(loss, np.zeros(basis.shape[1] + 1), jac=True, method="L-BFGS-B", options={"maxiter": 800}).x
    tables, at = {}, 1
    for name in names:
        n = len(knots[name]) - 1
        log_odds = (0.0, *(round(float(v), 2) for v in found[at : at + n]))
        tables[name[2:]] = (tuple(float(k) for k in knots[name]), log_odds)
        at += n
    return float(found[0]), tables


def odds_of(table: pd.DataFrame, prefix: str, offset: float, tables: dict[str, tuple]) -> NDArray[np.float64]:
    """Log odds of every candidate."""
    return offset + sum(np.interp(table[prefix + name], knots, odds) for name, (knots, odds) in tables.items())


def weights_of(table: pd.DataFrame, is_boulder: NDArray[np.bool_]) -> NDArray[np.float64]:
    """How much each candidate counts, so that everything planted counts about as often as it is met in forests."""
    tile = table.scene.str.split("/").str[0]
    seeds = table.scene.groupby(tile).transform("nunique").to_numpy()
    weight = np.where(table.is_planted, 1.0 / seeds, 1.0)
    is_thing = table.is_planted.to_numpy() & (table.thing >= 0).to_numpy()
    share = table.kind.map(WEIGHT_OF_KIND).fillna(1.0).to_numpy()
    # Three tiles of one dense conifer forest hold most of the lumps; they are to count as one kind of forest of many.
    weight = np.where(tile.str.startswith("bc"), DENSE_WEIGHT * weight, weight)
    return np.where(is_thing, np.where(is_boulder, PLANTED_WEIGHT, share), weight)


def calibrated(table: pd.DataFrame, offset: float, tables: dict[str, tuple]) -> tuple[float, dict[str, tuple]]:
    """The tables stretched and shifted so that, of what is kept of overlapping lumps, p in a hundred are boulders.

    Only made scenes count here: in real tiles nobody knows which of the lumps not planted are boulders.
    """
    made = table[~table.is_planted]
    kept = made.assign(odds=odds_of(made, "b_", offset, tables))
    kept = pd.concat([part[best_of(part)] for _, part in kept.groupby("scene")])
    y = (kept.label != 0).to_numpy().astype(float)  # on a boulder or within 3 m of its edge
    weight = weights_of(kept, y == 1)

    def loss(c: NDArray[np.float64]) -> float:
        odds = c[0] + c[1] * kept.odds.to_numpy()
        return float(weight @ (np.logaddexp(0, odds) - y * odds))

    shift, stretch = minimize(loss, np.array([0.0, 1.0]), method="Nelder-Mead").x
    print(f"calibration: shift {shift:.2f}, stretch {stretch:.2f}")
    stretched = {k: (knots, tuple(round(float(stretch * v), 2) for v in odds)) for k, (knots, odds) in tables.items()}
    return float(shift + stretch * offset), stretched


def best_of(part: pd.DataFrame) -> NDArray[np.bool_]:
    """Which candidates of one scene are kept where they overlap."""
    places = part[["east", "north"]].to_numpy()
    return keep_best(places, part.radius.to_numpy(), 1 / (1 + np.exp(-part.odds.to_numpy())))


def fit() -> None:
    """Fit both tables and write pipeline/rock/tables.py."""
    store = Path(sys.argv[2]) if len(sys.argv) > 2 else None
    if store is not None and store.exists():
        table = pd.read_pickle(store)
    else:
        parts = []
        for scene in fit_scenes():
            start = time.perf_counter()
            parts.append(candidates(scene))
            print(scene.name, len(parts[-1]), f"{time.perf_counter() - start:.1f} s", flush=True)
        table = pd.concat(parts, ignore_index=True)
        if store is not None:
            table.to_pickle(store)
    first_offset, first = fit_tables(table, "a_")
    offset, tables = calibrated(table, *fit_tables(table, "b_"))
    met = (table.label == 1) & (table.tall >= 0.9)
    least = float(np.quantile(odds_of(table, "a_", first_offset, first)[met], 0.04))
    text = (ROOT / "pipeline/rock/tables.py").read_text(encoding="utf-8").split("FIRST_LOOK_OFFSET")[0]
    text += f"FIRST_LOOK_OFFSET = {first_offset:.3f}\nFIRST_LOOK_LEAST = {least:.2f}\n"
    text += '"""Log odds that 96 in 100 boulders of the scenes fitted to reach at the first look."""\n'
    text += (
        f"FIRST_LOOK_TABLES: Tables = {first!r}\nBOULDER_OFFSET = {offset:.3f}\nBOULDER_TABLES: Tables = {tables!r}\n"
    )
    (ROOT / "pipeline/rock/tables.py").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    {"fit": fit}[sys.argv[1]]()
