"""Measure the rock of the draft, and fit the tables of the boulder confidence.

    python -m tests.benchmarks.rock WHAT

fit [FILE]     new pipeline/rock/tables.py from planted and made scenes; FILE keeps the measured lumps (TUSSOCK_DATA).
               Needs scikit-learn, which nothing else does.
planted        recall and false boulders in real tiles (TUSSOCK_DATA)
made           recall, precision, height and calibration in made scenes
confusion      boulders against bushes, stumps, piles and huts
density        recall by pulse density and canopy, written to config/
profiles OUT   the likeliest boulders of the forest tiles, as pictures (TUSSOCK_DATA)

Made scenes come from the project's own scene maker; those used to fit and those used to judge have different seeds.
"""

from __future__ import annotations

import json
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
from pipeline.rock.boulders import REACH_M, find_boulders, keep_best
from pipeline.rock.company import FEWEST_PER_HA, in_company, lookalikes_per_ha, worth_drawing
from pipeline.rock.confidence import boulder_terms, first_terms, odds_by_trees
from pipeline.rock.evidence import look_at, weigh_lumps
from pipeline.rock.lumps import find_lumps, low_returns
from pipeline.rock.tables import Tree, Trees
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
FIT_MADE = (
    *((21, 8.0), (22, 4.0), (23, 12.0), (24, 8.0), (25, 2.0), (26, 4.0), (27, 6.0), (28, 8.0)),
    *((71, 4.0), (72, 3.0), (73, 5.0), (74, 6.0), (75, 8.0), (76, 4.0)),
    *((77, 4.0), (78, 4.0), (79, 5.0), (80, 3.0), (81, 4.0), (82, 6.0)),
)
FIT_SEEDS = {"lake": (1,), "bc_1": (1, 2, 4, 5), "bc_2": (1, 2, 4, 5), "bc_3": (1, 2, 4, 5)}
"""Seeds of the objects planted in a tile to fit to; two where not told."""
FIT_THINNED = ("bc_1", "bc_2", "bc_3", "lava")
THINNED_TO = 0.45
"""Share of the pulses kept of a tile that is to stand for a survey of 4 pulses/m2."""
JUDGE_MADE = ((31, 8.0), (32, 4.0), (33, 8.0), (34, 2.0), (35, 16.0), (36, 8.0), (37, 4.0))
FIT_OPEN = ((41, 8.0), (42, 4.0), (43, 12.0))
FIT_THICKETS = ((44, 8.0, 0.55), (45, 8.0, 0.7), (46, 4.0, 0.65), (47, 12.0, 0.8))
"""Seed, density and share of the pulses that even undergrowth stops."""
OPEN_KINDS = {"boulder": 60, "bush": 60, "stump": 25, "root plate": 25, "log pile": 25, "hut": 15}
PER_KIND = {"boulder": 10, "bush": 6, "stump": 3, "root plate": 2, "log pile": 2, "hut": 1}
"""Objects planted per share of a tile; about 16 to 40 a hectare, far more boulders than a forest has."""
PLANTED_WEIGHT = 0.35
"""Weight of planted boulders in fitting, so that they count about as often as boulders are met: 6 to 10 a hectare."""

WEIGHT_OF_KIND = {"bush": 1.2, "stump": 0.15, "root plate": 0.1, "log pile": 0.15, "hut": 0.15}
"""The same for what is not a boulder (common practice, no source): piles and huts are rare where maps are made."""

DENSE_WEIGHT = 0.3
BOULDERS_PER_HA, PLANTED_PER_HA = 6.0, PER_KIND["boulder"] / 0.6
"""Boulders met in boulder country (common practice, no source), and boulders planted."""
N_TREES, N_LEAVES = 200, 12
FIRST_LOOK_KEEPS = 0.97
"""Share of the boulders that the quick first look lets pass; the rest costs more time than it brings."""


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


def thinned(cloud: Cloud, share: float, /) -> Cloud:
    """The cloud with a share of its pulses, drawn with a fixed seed."""
    _, pulse = np.unique(np.column_stack((cloud.gps_time, cloud.flight_line)), axis=0, return_inverse=True)
    keep = np.random.default_rng(5).random(int(pulse.max()) + 1) < share
    return cloud.take(keep[pulse.ravel()])


def planted_scene(name: str, seed: int, *, with_things: bool = True, share: float = 1.0) -> Scene:
    """A real tile, or a share of its pulses, with objects planted in it unless told otherwise."""
    cloud = read_tile(name) if share == 1.0 else thinned(read_tile(name), share)
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
        for seed in FIT_SEEDS.get(name, (1, 2)):
            yield planted_scene(name, seed)
    for name in FIT_THINNED:
        for seed in (3, 6):
            yield planted_scene(name, seed, share=THINNED_TO)
    for seed, per_m2 in FIT_MADE:
        yield made_scene(seed, per_m2)
    for seed, per_m2 in FIT_OPEN:
        yield open_scene(seed, per_m2, OPEN_KINDS, canopy=0.4)
    for seed, per_m2, share in FIT_THICKETS:
        yield open_scene(seed, per_m2, {"boulder": 30}, undergrowth=share)


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
    # Every open scene is other ground; a tile planted again is the same.
    seeds = np.where(tile == "open", 2, table.scene.groupby(tile).transform("nunique").to_numpy())
    weight = np.where(table.is_planted, 1.0 / seeds, 1.0)
    is_thing = table.is_planted.to_numpy() & (table.thing >= 0).to_numpy()
    share = table.kind.map(WEIGHT_OF_KIND).fillna(1.0).to_numpy()
    # Three tiles of one dense conifer forest hold most of the lumps; they are to count as one kind of forest of many.
    weight = np.where(tile.str.startswith("bc"), DENSE_WEIGHT * weight, weight)
    # Two plantings a tile are the measure of how often things are met; more of them show more shapes, not more things.
    per_seed = 2 / np.maximum(seeds, 2)
    return np.where(is_thing, np.where(is_boulder, PLANTED_WEIGHT, share) * per_seed, weight)


@dataclass(frozen=True)
class Fitted:
    """Trees and the offset they start from."""

    offset: float
    trees: Trees

    def odds(self, table: pd.DataFrame, /) -> NDArray[np.float64]:
        """(k,) log odds of the lumps of a table."""
        terms = {name[2:]: table[name].to_numpy() for name in table if name.startswith("b_")}
        return odds_by_trees(terms, self.trees, self.offset)


def fit_trees(table: pd.DataFrame, /) -> Fitted:
    """Boosted trees that fit the labels."""
    from sklearn.ensemble import HistGradientBoostingClassifier

    used = table[table.label >= 0]
    y = used.label.to_numpy()
    names = sorted(name for name in used if name.startswith("b_"))
    model = HistGradientBoostingClassifier(
        max_iter=N_TREES,
        learning_rate=0.1,
        max_leaf_nodes=N_LEAVES,
        l2_regularization=5.0,
        min_samples_leaf=30,
        max_bins=64,
        random_state=0,
    ).fit(used[names].to_numpy(), y, sample_weight=weights_of(used, y == 1))
    trees = tuple(_as_tree(predictors[0].nodes, names) for predictors in model._predictors)
    return Fitted(float(model._baseline_prediction.ravel()[0]), trees)


def _as_tree(nodes: NDArray[np.void], names: list[str]) -> Tree:
    """A tree of the library in the form of `pipeline.rock.tables`."""
    is_leaf = nodes["is_leaf"].astype(bool)
    number = np.where(is_leaf, ~(np.cumsum(is_leaf) - 1), np.cumsum(~is_leaf) - 1)
    splits = tuple(
        (
            names[int(node["feature_idx"])][2:],
            float(f"{node['num_threshold']:.4g}"),
            int(number[node["left"]]),
            int(number[node["right"]]),
        )
        for node in nodes[~is_leaf]
    )
    return splits, tuple(float(value) for value in nodes[is_leaf]["value"])


def odds_unseen(table: pd.DataFrame, /) -> NDArray[np.float64]:
    """(k,) log odds of each lump by trees fitted to other tiles and other made scenes than its own."""
    tile = table.scene.str.split("/").str[0]
    part = np.asarray(pd.factorize(np.where(tile.isin(["made", "open"]), table.scene, tile))[0]) % 3
    odds = np.zeros(len(table))
    for k in range(3):
        odds[part == k] = fit_trees(table[part != k]).odds(table[part == k])
    return odds


def in_crowd(part: pd.DataFrame, /) -> pd.DataFrame:
    """The lumps of a scene that are kept where they overlap, with the lookalikes a hectare around each."""
    kept = part[best_of(part) & (part.odds > np.log(SETTINGS.least_candidate_confidence))]
    if not len(kept):
        return kept.assign(crowd=0.0)
    bounds = (part.east.min(), part.north.min(), part.east.max(), part.north.max())
    grid = Grid.covering(bounds, cell_m=1.0, crs=CRS)
    as_found = gpd.GeoDataFrame(
        {"confidence": 1 / (1 + np.exp(-kept.odds))}, geometry=gpd.points_from_xy(kept.east, kept.north)
    )
    known = np.ones(grid.shape, bool)
    return kept.assign(crowd=lookalikes_per_ha(as_found, known, grid, settings=SETTINGS))


def fit_company(table: pd.DataFrame, /) -> tuple[float, float, float]:
    """Offset, stretch of the log odds and log odds a unit of crowd, so that of those said p, p in a hundred are there.

    Everything counts as often as it is met: planted boulders as if there were `BOULDERS_PER_HA`, a tile planted many
    times as one. In real tiles what was not planted counts as no boulder, so confidence errs on the low side.
    """
    parts = [in_crowd(part) for _, part in table.assign(odds=odds_unseen(table)).groupby("scene")]
    kept = pd.concat(parts)
    kept = kept[(kept.tall >= 0.9) & ((kept.label >= 0) | (kept.thing >= 0))]
    is_boulder = (kept.thing >= 0) & (~kept.is_planted | (kept.kind == "boulder"))
    tile = kept.scene.str.split("/").str[0]
    seeds = np.where(tile.isin(["made", "open"]), 1, kept.scene.groupby(tile).transform("nunique"))
    share = np.where(is_boulder, BOULDERS_PER_HA / PLANTED_PER_HA, kept.kind.map(WEIGHT_OF_KIND).fillna(1.0))
    weight = np.where(kept.is_planted, share, 1.0) / seeds
    y = is_boulder.to_numpy(float)
    terms = np.column_stack((np.ones(len(kept)), kept.odds, np.log(kept.crowd + FEWEST_PER_HA)))

    def loss(c: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        odds = terms @ c
        left = weight * (1 / (1 + np.exp(-odds)) - y)
        return float(weight @ (np.logaddexp(0, odds) - y * odds)), terms.T @ left

    offset, stretch, per_crowd = (float(v) for v in minimize(loss, np.zeros(3), jac=True, method="BFGS").x)
    print(f"company: offset {offset:.2f}, stretch {stretch:.2f}, per unit of crowd {per_crowd:.2f}")
    sure = 1 / (1 + np.exp(-terms @ np.array([offset, stretch, per_crowd])))
    kind = np.where(tile.str.startswith(("bc", "made", "open", "lava", "boreal", "lake")), tile.str[:4], "rest")
    for name in np.unique(kind):
        here = (kind == name) & (sure >= SETTINGS.least_boulder_confidence)
        said, was = (float(np.average(v[here], weights=weight[here])) for v in (sure, y))
        print(f"  {name}: said {said:.2f}, was {was:.2f}")
    return offset, stretch, per_crowd


def best_of(part: pd.DataFrame) -> NDArray[np.bool_]:
    """Which candidates of one scene are kept where they overlap."""
    places = part[["east", "north"]].to_numpy()
    return keep_best(places, part.radius.to_numpy(), 1 / (1 + np.exp(-part.odds.to_numpy())))


def fit() -> None:
    """Fit the tables of the first look and the trees, and write pipeline/rock/tables.py."""
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
    odds = odds_of(table, "a_", first_offset, first)
    met = (table.label == 1) & (table.tall >= 0.9)
    least = float(np.quantile(odds[met], 1 - FIRST_LOOK_KEEPS))
    seen = table[odds >= least].reset_index(drop=True)
    write_tables(first_offset, least, first, fit_trees(table), fit_company(seen))


def write_tables(
    first_offset: float,
    least: float,
    first: dict[str, tuple[tuple[float, ...], tuple[float, ...]]],
    fitted: Fitted,
    company: tuple[float, float, float],
) -> None:
    """Write pipeline/rock/tables.py: its head as it is, then what was fitted."""
    path = ROOT / "pipeline/rock/tables.py"
    text = path.read_text(encoding="utf-8").split("FIRST_LOOK_OFFSET")[0]
    text += f"FIRST_LOOK_OFFSET = {first_offset:.3f}\nFIRST_LOOK_LEAST = {least:.2f}\n"
    share = round(100 * FIRST_LOOK_KEEPS)
    text += f'"""Log odds that {share} in 100 boulders of the scenes fitted to reach at the first look."""\n'
    text += "FIRST_LOOK_TABLES: Tables = {\n"
    text += "".join(f'    "{name}": {pair!r},\n' for name, pair in first.items()) + "}\n"
    text += (
        f"COMPANY_OFFSET, COMPANY_STRETCH, COMPANY_LOG_ODDS = {company[0]:.2f}, {company[1]:.2f}, {company[2]:.2f}\n"
    )
    text += '"""What the log odds of the trees become: offset + stretch * odds + log odds * log(lookalikes)."""\n'
    text += f"BOULDER_OFFSET = {fitted.offset:.3f}\n# fmt: off\nBOULDER_TREES: Trees = (\n"
    for splits, leaves in fitted.trees:
        inner = ", ".join(f'("{name}", {most:g}, {low}, {high})' for name, most, low, high in splits)
        text += f"    (({inner}),\n     ({', '.join(f'{leaf:.3g}' for leaf in leaves)})),\n"
    path.write_text(text + ")\n# fmt: on\n", encoding="utf-8")


# ------------------------------------------------------------------------------------------------------- measuring


def believed(scene: Scene) -> gpd.GeoDataFrame:
    """Every candidate of a scene, as sure as the draft would say it is."""
    table = find_boulders(scene.cloud, scene.asprs_class, scene.height_above_m, scene.grid, settings=SETTINGS)
    return in_company(table, np.ones(scene.grid.shape, bool), scene.grid, settings=SETTINGS)


def drawn(scene: Scene) -> gpd.GeoDataFrame:
    """Boulders of a scene that the draft would draw, before they are grouped."""
    return worth_drawing(believed(scene), settings=SETTINGS).reset_index(drop=True)


def nearest_thing(table: gpd.GeoDataFrame, scene: Scene) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Nearest known object of each row and how far its edge (at least 1 m from its middle) is."""
    places = np.array([(t.east, t.north) for t in scene.things]).reshape(-1, 2)
    radius = np.array([max(t.width_m, t.length_m, 2.0) / 2 for t in scene.things])
    if not len(table) or not len(places):
        return np.full(len(table), -1), np.full(len(table), np.inf)
    apart, i = cKDTree(places).query(np.column_stack((table.geometry.x, table.geometry.y)))
    return i, np.maximum(apart - radius[i], 0)


def planted() -> None:
    """Recall of planted boulders, and false boulders before planting, in real tiles."""
    rows = []
    for name in ("bc_1", "bc_2", "bc_3", "lava", "boreal"):
        before = planted_scene(name, 0, with_things=False)
        false = len(drawn(before))
        for seed in (11, 12):
            scene = planted_scene(name, seed)
            table = drawn(scene)
            i, beyond = nearest_thing(table, scene)
            met = set(i[beyond <= 1.0])
            is_asked = [
                t.kind == "boulder" and t.height_m >= 1 and reach >= 2
                for t, reach in zip(scene.things, scene.reaching_per_m2, strict=True)
            ]
            asked = np.flatnonzero(is_asked)
            bushes = [k for k, t in enumerate(scene.things) if t.kind == "bush"]
            error = [
                abs(table.height_m[row] - scene.things[k].height_m)
                for row, k in enumerate(i)
                if beyond[row] <= 1.0 and scene.things[k].kind == "boulder"
            ]
            rows.append(
                {
                    "tile": name,
                    "seed": seed,
                    "boulders": len(asked),
                    "recall": np.mean([k in met for k in asked]) if len(asked) else np.nan,
                    "bushes taken": np.mean([k in met for k in bushes]),
                    "height error m": np.median(error) if error else np.nan,
                    "drawn before planting per ha": false / before.hectares,
                }
            )
    print(pd.DataFrame(rows).round(2).to_string(index=False))


def made() -> None:
    """Recall, precision, heights and calibration in made scenes that nothing was fitted to."""
    rows, sure, true = [], [], []
    for seed, per_m2 in JUDGE_MADE:
        scene = made_scene(seed, per_m2)
        start = time.perf_counter()
        every = believed(scene)
        seconds = time.perf_counter() - start
        i, beyond = nearest_thing(every, scene)
        tall = np.array([t.height_m for t in scene.things])
        is_true = (beyond <= 2.0) & (tall[i] >= SETTINGS.least_height_m)
        is_drawn = every.index.isin(worth_drawing(every, settings=SETTINGS).index)
        met = set(i[is_true & is_drawn])
        asked = np.flatnonzero(tall >= 1)
        error = np.abs(every.height_m - tall[i])[is_true & is_drawn]
        rows.append(
            {
                "scene": scene.name,
                "pulses per m2": per_m2,
                "boulders": len(asked),
                "recall": np.mean([k in met for k in asked]),
                "precision": is_true[is_drawn].mean(),
                "height error m": np.median(error),
                "us per return": seconds / len(scene.cloud) * 1e6,
            }
        )
        sure.append(every.confidence.to_numpy())
        true.append(is_true)
    print(pd.DataFrame(rows).round(2).to_string(index=False))
    print_calibration(np.concatenate(sure), np.concatenate(true))


def print_calibration(sure: NDArray[np.float64], true: NDArray[np.bool_]) -> None:
    """Expected calibration error over ten bins: of all candidates, and of those drawn."""
    for name, least in (("all candidates", 0.0), ("drawn", SETTINGS.least_boulder_confidence)):
        chosen = sure >= least
        bins = np.minimum((sure[chosen] * 10).astype(int), 9)
        n = np.bincount(bins, minlength=10)
        said = np.bincount(bins, weights=sure[chosen], minlength=10) / np.maximum(n, 1)
        was = np.bincount(bins, weights=true[chosen].astype(float), minlength=10) / np.maximum(n, 1)
        print(f"expected calibration error, {name}: {float(n @ np.abs(said - was)) / n.sum():.3f}")
        if least == 0.0:
            print(pd.DataFrame({"n": n, "said": said, "was": was}).round(2).T.to_string())


def open_cloud(
    seed: int, per_m2: float, *, canopy: float = 0.0, undergrowth: float = 0.0, side_m: float = 220.0
) -> Cloud:
    """A gentle slope with uneven ground, single pulses straight down, of which crowns and undergrowth stop a share."""
    rng = np.random.default_rng(seed)
    n = round(per_m2 * side_m**2)
    en = rng.uniform(0, side_m, (n, 2))
    uneven = 0.25 * np.sin(en[:, 0] / 6) * np.sin(en[:, 1] / 7) + rng.normal(0, 0.03, n)
    ground = 200 + 0.15 * en[:, 0] + uneven
    # Crowns of 5 m stand on a jittered lattice; within one, a pulse gets through one time in four.
    crown = np.hypot((en[:, 0] + 1.7 * np.sin(en[:, 1])) % 7 - 3.5, (en[:, 1] + 1.3 * np.sin(en[:, 0])) % 7 - 3.5)
    radius = 3.5 * np.sqrt(min(canopy / 0.75, 1.0) * 4 / np.pi)
    stopped = (crown < radius) & (rng.random(n) < 0.75)
    height = ground + np.where(stopped, rng.uniform(7, 18, n), 0)
    if undergrowth > 0:
        tangled = ~stopped & (rng.random(n) < undergrowth)
        height = height + np.where(tangled, rng.uniform(0.3, 2.5, n), 0)
    return Cloud.of(np.column_stack((en + 500000.0, height)), gps_time=np.arange(n) * 1e-5)


def open_scene(
    seed: int, per_m2: float, counts: dict[str, int], *, canopy: float = 0.0, undergrowth: float = 0.0
) -> Scene:
    """Objects planted on the gentle slope."""
    cloud = open_cloud(seed, per_m2, canopy=canopy, undergrowth=undergrowth)
    above = classify_returns(cloud, settings=PointsSettings()).height_above_m
    rng = np.random.default_rng(seed)
    things = planting.scatter(cloud, rng, counts=counts, spacing_m=12.0)
    reaching = planting.reaching_per_m2(cloud, above, things)
    cloud = planting.plant(cloud, above, things, rng)
    classes = classify_returns(cloud, settings=PointsSettings())
    grid = grid_of(cloud)
    return Scene(f"open/{seed}", cloud, classes.asprs_class, classes.height_above_m, grid, things, reaching, True)


def confusion() -> None:
    """What becomes of boulders, juniper-like bushes, stumps, root plates, log piles and huts of the same sizes."""
    rows = []
    for seed in (51, 52):
        scene = open_scene(seed, 8.0, OPEN_KINDS, canopy=0.4)
        table = drawn(scene)
        i, beyond = nearest_thing(table, scene)
        met = set(i[beyond <= 1.0])
        rows += [
            {"kind": t.kind if t.kind != "boulder" or t.height_m >= 1 else "boulder under 1 m", "drawn": k in met}
            for k, t in enumerate(scene.things)
        ]
        rows += [{"kind": "nothing there", "drawn": True}] * int((beyond > 1.0).sum())
    table = pd.DataFrame(rows).groupby("kind").drawn.agg(["size", "sum", "mean"])
    print(table.rename(columns={"size": "n", "sum": "drawn as boulders", "mean": "share"}).round(2).to_string())


def density() -> None:
    """Recall of boulders from 1 m by pulse density and share of pulses that crowns stop; written to config/."""
    rows = []
    for per_m2 in (1.0, 2.0, 4.0, 8.0, 16.0):
        for canopy in (0.0, 0.3, 0.5, 0.7):
            scene = open_scene(61, per_m2, {"boulder": 120}, canopy=canopy)
            table = drawn(scene)
            i, beyond = nearest_thing(table, scene)
            met = set(i[beyond <= 1.0])
            tall = np.array([t.height_m for t in scene.things])
            for name, low, high in (("204", 1.0, 2.0), ("205", 2.0, 9.0)):
                asked = np.flatnonzero((tall >= low) & (tall < high))
                recall = float(np.mean([k in met for k in asked]))
                rows.append(
                    {
                        "pulses_per_m2": per_m2,
                        "canopy_share": canopy,
                        "symbol": name,
                        "recall": round(recall, 2),
                        "n": len(asked),
                    }
                )
    print(pd.DataFrame(rows).pivot_table(index=["symbol", "pulses_per_m2"], columns="canopy_share", values="recall"))
    made_by = "python -m tests.benchmarks.rock density"
    text = json.dumps({"made_by": made_by, "what": "share of boulders that the draft finds", "rows": rows}, indent=1)
    (ROOT / "config/boulder_recall.json").write_text(text + "\n", encoding="utf-8")


def profiles() -> None:
    """Cross-sections through the twenty likeliest boulders of the forest tiles, as one picture."""
    from PIL import Image, ImageDraw

    out = Path(sys.argv[2])
    found = []
    for name in ("bc_1", "bc_2", "bc_3"):
        scene = planted_scene(name, 0, with_things=False)
        table = drawn(scene)
        found += [(row.confidence, name, row, scene) for row in table.itertuples()]
    found.sort(key=lambda one: -one[0])
    width, height, scale = 300, 200, 25
    sheet = Image.new("RGB", (5 * width, 4 * height), "white")
    pen = ImageDraw.Draw(sheet)
    for k, (sure, name, row, scene) in enumerate(found[:20]):
        cloud = scene.cloud
        left, top = (k % 5) * width, (k // 5) * height
        near = (np.abs(cloud.east - row.geometry.x) < 5.5) & (np.abs(cloud.north - row.geometry.y) < 0.8)
        x = left + width / 2 + (cloud.east[near] - row.geometry.x) * scale
        y = top + height - 50 - (cloud.height[near] - row.elevation_m) * scale
        for px, py, last in zip(x, y, cloud.is_last[near], strict=True):
            if top < py < top + height - 2:
                pen.ellipse((px - 2, py - 2, px + 2, py + 2), fill="black" if last else "green")
        pen.rectangle((left, top, left + width - 1, top + height - 1), outline="grey")
        pen.text(
            (left + 5, top + 4), f"{k + 1} {name} p {sure:.2f} h {row.height_m:.1f} w {row.width_m:.1f}", fill="red"
        )
        print(k + 1, name, f"{row.geometry.x:.1f} {row.geometry.y:.1f}", f"{sure:.2f}", row.evidence)
    sheet.save(out)


if __name__ == "__main__":
    {
        "fit": fit,
        "planted": planted,
        "made": made,
        "confusion": confusion,
        "density": density,
        "profiles": profiles,
    }[sys.argv[1]]()
