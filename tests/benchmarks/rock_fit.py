"""Fit the trees of the boulder confidence, and how far they are believed, to planted and made scenes.

    python -m tests.benchmarks.rock_fit [FILE]

Writes config/boulder_trees.json as it is shipped, with the names and seeds of what it was fitted to; FILE keeps the
measured lumps, so that the next fit is quick. Needs TUSSOCK_DATA, and scikit-learn, which nothing else does.
"""

from __future__ import annotations

import datetime
import json
import sys
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.spatial import cKDTree

from pipeline.lattice.grid import Grid
from pipeline.norm.symbols import isom
from pipeline.rock.boulders.boulders import LEAST_CANDIDATE_CONFIDENCE, LEAST_HEIGHT_M, REACH_M, keep_best
from pipeline.rock.boulders.company import HEIGHT_ERROR_M, boulders_per_ha, company_terms, lookalikes_per_ha
from pipeline.rock.boulders.confidence import LEAST_RETURNS, boulder_terms, first_terms
from pipeline.rock.boulders.evidence import USUAL_BRIGHTNESS, weigh_lumps
from pipeline.rock.boulders.first_look import look_at
from pipeline.rock.boulders.low_returns import Floats, LowReturns, low_returns
from pipeline.rock.boulders.lumps import find_lumps
from pipeline.rock.boulders.trees import Company, FirstLookForest, Forest, Tree, odds_by_trees
from pipeline.shipped import BOULDER_TREES
from tests.benchmarks.rock_relief import relief_scene
from tests.benchmarks.rock_scenes import (
    CRS,
    JUDGE_TILES,
    OPEN_KINDS,
    SETTINGS,
    TILES,
    Scene,
    folder_scene,
    made_scene,
    open_scene,
    planted_scene,
)
from tests.benchmarks.rock_sparse import NATURAL_UP_TO_M, as_often, sparser

FIT_MADE = ((21, 8.0), (22, 4.0), (23, 12.0), (71, 4.0), (72, 3.0), (77, 4.0), (82, 6.0))
"""Seed and pulses/m2 of the made scenes that are fitted to."""
FIT_TILES = tuple(name for name in TILES if name not in JUDGE_TILES)
FIT_SEEDS = {**dict.fromkeys(FIT_TILES, (1, 2)), "bc_2": (1,)}
"""Seeds of the objects planted in each tile to fit to."""
FIT_RELIEF = {
    "3506_0": (
        (4, 8.0),
        (8, 6.0),
        (12, 12.0),
        (16, 8.0),
        (20, 10.0),
        (24, 6.0),
        (200, 4.0),
        (201, 5.0),
        (206, 4.0),
        (212, 8.0),
    ),
    "3506_2": (
        (5, 8.0),
        (9, 6.0),
        (13, 12.0),
        (17, 8.0),
        (21, 10.0),
        (25, 6.0),
        (206, 4.0),
        (211, 4.0),
        (217, 8.0),
    ),
    "3507_0": (
        (6, 8.0),
        (10, 6.0),
        (14, 12.0),
        (18, 8.0),
        (22, 10.0),
        (26, 6.0),
        (211, 5.0),
        (212, 4.0),
        (216, 4.0),
        (222, 8.0),
    ),
    "3507_8": (
        (7, 8.0),
        (11, 6.0),
        (15, 12.0),
        (19, 8.0),
        (23, 10.0),
        (27, 6.0),
        (216, 5.0),
        (218, 4.0),
        (221, 4.0),
    ),
}
"""Seeds and pulses/m2 of the flights over each block of real relief that are fitted to; none over those to judge on."""
FIT_THINNED, FIT_THINNED_SEEDS = ("bc_1", "lava"), (3,)
THINNED_TO = 0.45
"""Share of the pulses kept of a tile that is to stand for a survey of 4 pulses/m2."""
FIT_OPEN = ((41, 8.0), (42, 4.0))
"""Seed and pulses/m2 of the open slopes with every kind of object."""
FIT_THICKETS = ((44, 8.0, 0.55),)
"""Seed, pulses/m2 and share of the pulses that undergrowth stops, of the thickets with boulders in them."""
FIT_FOLDERS, FOLDER_WEIGHT = ("hard_moraine", "hard_steep"), 0.5
"""Scenes of the measuring data with their own truth that are fitted to, and the weight of their lumps. They stand in
the fit twice, so that this counts them as often as they are."""
PLANTED_WEIGHT = 0.6
"""Weight in fitting of a planted boulder of the usual height; others weigh as `as_often` says."""
WEIGHT_OF_KIND = {
    **{"bush": 2.0, "young spruce": 1.5, "stump": 1.0, "root plate": 1.0, "log pile": 0.5, "hut": 0.5},
    **{"brush pile": 1.0, "ant hill": 1.0, "log": 1.0},
}
"""Weight of each planted thing that is no boulder (our choice): bushes are many in forests, piles and huts rare."""
DENSE_WEIGHT = 0.5
"""Weight of the lumps of three tiles of one dense conifer forest, which hold most of all."""
COMPANY_TILES, COMPANY_SEEDS = ("bc_1", "bc_2", "crop_1", "lava", "pine_43"), (21,)
COMPANY_MADE = ((91, 8.0), (92, 4.0), (94, 4.0))
COMPANY_RELIEF = {
    "3506_0": (
        (104, 8.0),
        (109, 4.0),
        (116, 6.0),
    ),
    "3506_2": (
        (105, 8.0),
        (110, 4.0),
        (117, 6.0),
    ),
    "3507_0": (
        (106, 8.0),
        (111, 4.0),
        (118, 6.0),
    ),
    "3507_8": (
        (107, 8.0),
        (112, 4.0),
        (119, 6.0),
    ),
}
"""Tiles with seeds of planting, made scenes and flights over relief, that show how far the trees are to be believed."""
FIRST_LOOK_KEEPS = 0.955
"""Share of the lumps of boulders that the quick first look lets pass. Most boulders have several, so that 97 in 100
boulders keep one (measured); what passes costs three times what does not."""


@dataclass(frozen=True)
class Size:
    """How many sets of trees, trees a set and leaves a tree, how much a tree may say, and what boulders weigh.

    More leaves tell more boulders on tiles kept from fitting up to about 20; more trees or sets tell none (measured).
    """

    n_sets: int
    n_trees: int
    n_leaves: int
    learning_rate: float
    by_height: bool


FIRST_LOOK_SIZE = Size(n_sets=1, n_trees=40, n_leaves=12, learning_rate=0.2, by_height=False)
FULL_SIZE = Size(n_sets=2, n_trees=80, n_leaves=20, learning_rate=0.18, by_height=True)
"""The first look is a sieve and counts planted boulders of every height alike: weighed by how often heights are met it
let half as many lumps again pass, and they cost time."""


def fit_scenes() -> list[Callable[[], Scene]]:
    """Makers of every scene the trees are fitted to."""
    planted = [partial(planted_scene, name, seed) for name, seeds in FIT_SEEDS.items() for seed in seeds]
    thin = [partial(planted_scene, name, seed, share=THINNED_TO) for name in FIT_THINNED for seed in FIT_THINNED_SEEDS]
    made = [partial(made_scene, seed, per_m2) for seed, per_m2 in FIT_MADE]
    relief = [partial(relief_scene, block, *flight) for block, flights in FIT_RELIEF.items() for flight in flights]
    slopes = [partial(open_scene, seed, per_m2, OPEN_KINDS, canopy=0.4) for seed, per_m2 in FIT_OPEN]
    thickets = [
        partial(open_scene, seed, per_m2, {"boulder": 30}, undergrowth=share) for seed, per_m2, share in FIT_THICKETS
    ]
    folders = [partial(folder_scene, name) for name in FIT_FOLDERS]
    return [*planted, *thin, *made, *relief, *slopes, *thickets, *folders]


def unseen_scenes() -> list[Callable[[], Scene]]:
    """Makers of scenes that no tree is fitted to."""
    planted = [partial(planted_scene, name, seed) for name in COMPANY_TILES for seed in COMPANY_SEEDS]
    made = [partial(made_scene, seed, per_m2) for seed, per_m2 in COMPANY_MADE]
    relief = [partial(relief_scene, block, *flight) for block, flights in COMPANY_RELIEF.items() for flight in flights]
    return [*planted, *made, *relief]


def candidates(scene: Scene) -> pd.DataFrame:
    """All lumps of a scene with the measures of both looks and what they are."""
    near = scene.grid.pad(REACH_M)
    believed = np.isfinite(scene.height_above_m)
    return lumps_among(low_returns(scene.cloud.take(believed), scene.height_above_m[believed], near), scene)


def lumps_among(low: LowReturns, scene: Scene) -> pd.DataFrame:
    """All lumps among the low returns of a scene, as `candidates` gives them."""
    lumps = find_lumps(low, scene.grid.pad(REACH_M))
    first = look_at(low, lumps)
    evidence, solid = weigh_lumps(low, lumps)
    table = pd.DataFrame({f"a_{k}": v for k, v in first_terms(first).items()})
    table = table.assign(**{f"b_{k}": v for k, v in boulder_terms(evidence).items()})
    table = table.assign(east=solid.east, north=solid.north, radius=solid.half_axes_m.mean(axis=1))
    table["tall"] = evidence.height_m
    is_one = np.minimum(evidence.n_on, first.n_on) >= LEAST_RETURNS
    table = table[is_one & (evidence.height_m >= LEAST_HEIGHT_M)].copy()
    table["label"], table["thing"], table["kind"] = label(table, scene)
    table["to_boulder"] = to_boulder(table, scene)
    table["scene"], table["is_planted"], table["hectares"] = scene.name, scene.is_planted, scene.hectares
    return table


def to_boulder(table: pd.DataFrame, scene: Scene) -> NDArray[np.float64]:
    """(k,) metres from each lump to the middle of the nearest boulder that may be drawn; inf where there is none."""
    places = [(t.east, t.north) for t in scene.things if t.kind == "boulder" and t.height_m >= LEAST_HEIGHT_M]
    if not places:
        return np.full(len(table), np.inf)
    return np.asarray(cKDTree(places).query(table[["east", "north"]].to_numpy())[0], np.float64)


def label(table: pd.DataFrame, scene: Scene) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.object_]]:
    """1 boulder well met, 0 something else, -1 neither; the nearest object within reach (-1: none) and its kind."""
    n = len(table)
    if not scene.things:
        return np.zeros(n, np.int64), np.full(n, -1), np.full(n, "none", object)
    places = np.array([(t.east, t.north) for t in scene.things])
    radius = np.array([max(t.width_m, t.length_m) / 2 for t in scene.things])
    tall = np.array([t.height_m for t in scene.things])
    kinds = np.array([t.kind for t in scene.things], object)
    at = table[["east", "north"]].to_numpy()
    apart, i = cKDTree(places).query(at)
    on = apart < np.maximum(radius[i], 0.8) + 0.3
    is_boulder = on & (kinds[i] == "boulder") & (tall[i] >= LEAST_HEIGHT_M)
    met = is_boulder & (np.abs(table.tall - tall[i]) < 0.35 + 0.1 * tall[i])
    met &= apart < 0.6 * np.maximum(table.radius, 0.6) + OFF_MIDDLE_M
    # A disc on part of a boulder has no edge to show: it is neither.
    size = np.array([np.sqrt(t.width_m * t.length_m) for t in scene.things])[i]
    met &= (2 * table.radius > 0.4 * size) & (2 * table.radius < 1.6 * np.maximum(size, 0.9))
    rocks = np.flatnonzero((kinds == "boulder") & (tall >= LEAST_HEIGHT_M / 2))
    beside = np.full(n, np.inf)
    if len(rocks):
        to_rock, j = cKDTree(places[rocks]).query(at)
        beside = to_rock - radius[rocks][j]
    other = (on & (kinds[i] != "boulder")) | (beside > BESIDE_M)
    return np.where(met, 1, np.where(other, 0, -1)), np.where(on, i, -1), np.where(on, kinds[i], "none")


OFF_MIDDLE_M = 0.3
"""How far flight lines that do not meet move a lump off its boulder."""
BESIDE_M = 2.0
"""A lump closer to the edge of a boulder than this is neither the boulder nor surely something else."""


def weights_of(table: pd.DataFrame, is_boulder: NDArray[np.bool_], *, by_height: bool) -> NDArray[np.float64]:
    """How much each candidate counts, so that everything planted counts about as often as it is met in forests."""
    tile = table.scene.str.split("/").str[0]
    # Every open scene is other ground, and every flight over relief another forest; a tile planted again is the same.
    seeds = np.where(
        (tile == "open") | tile.str.startswith("relief"), 2, table.scene.groupby(tile).transform("nunique").to_numpy()
    )
    is_relief = tile.str.startswith("relief").to_numpy()
    weight = np.where(table.is_planted & ~is_relief, 1.0 / seeds, 1.0)
    is_thing = table.is_planted.to_numpy() & (table.thing >= 0).to_numpy()
    share = np.where(is_relief, 1.0, table.kind.map(WEIGHT_OF_KIND).fillna(1.0).to_numpy())
    # Three tiles of one dense conifer forest hold most of the lumps; they are to count as one kind of forest of many.
    weight = np.where(tile.str.startswith("bc"), DENSE_WEIGHT * weight, weight)
    # Two plantings a tile are the measure of how often things are met; more of them show more shapes, not more things.
    per_seed = 2 / np.maximum(seeds, 2)
    weight = np.where(table.scene.isin(FIT_FOLDERS), FOLDER_WEIGHT, weight)
    boulders = PLANTED_WEIGHT * (as_often(table.tall.to_numpy(np.float64)) if by_height else 1.0)
    return np.where(is_thing, np.where(is_boulder, boulders, share) * per_seed, weight)


def odds_of(table: pd.DataFrame, prefix: str, forest: Forest, /) -> NDArray[np.float64]:
    """(k,) log odds of the lumps of a table by the measures of one look ("a_" the first, "b_" the full evidence)."""
    terms = {name.removeprefix(prefix): table[name].to_numpy() for name in table if name.startswith(prefix)}
    return odds_by_trees(terms, forest)


SPEAKS_FOR = ("count", "smooth", "drop", "open", "full", "filled", "whole", "alone", "bright")
SPEAKS_AGAINST = (
    *("through", "off", "inside", "over", "rough", "relative", "clutter", "foot", "lean", "ring", "unseen", "grain"),
    *("high", "core", "plane", "tilt", "ridge", "bank"),
)
"""Measures of which more can only speak for rock, and only against it. Without this the trees learn by heart what else
was true of the scenes they were fitted to: on places they never saw they found no more and were wrong more often."""


def fit_trees(table: pd.DataFrame, prefix: str, size: Size, /) -> Forest:
    """Boosted trees that fit the labels: the mean of sets that were shown different measures at each split."""
    from sklearn.ensemble import HistGradientBoostingClassifier

    used = table[table.label >= 0]
    y = used.label.to_numpy()
    weight = weights_of(used, y == 1, by_height=size.by_height)
    offset, trees = 0.0, []
    names = sorted(name for name in used if name.startswith(prefix))
    measures = [name.removeprefix(prefix) for name in names]
    ways = [(name in SPEAKS_FOR) - (name in SPEAKS_AGAINST) for name in measures]
    for seed in range(size.n_sets):
        model = HistGradientBoostingClassifier(
            max_iter=size.n_trees,
            learning_rate=size.learning_rate,
            max_leaf_nodes=size.n_leaves,
            l2_regularization=5.0,
            min_samples_leaf=30,
            max_bins=64,
            max_features=0.7 if size.n_sets > 1 else 1.0,
            random_state=seed,
            monotonic_cst=ways,
        ).fit(used[names].to_numpy(), y, sample_weight=weight)
        offset += float(model._baseline_prediction.ravel()[0]) / size.n_sets
        trees += [_as_tree(predictors[0].nodes, measures, size.n_sets) for predictors in model._predictors]
    return Forest(offset=rounded(offset, ".3f"), trees=tuple(trees))


HIGHEST_LIMIT = 1e6
"""Stands for no limit, which the file cannot hold: a split that parts lumps with a measure from those without."""


def _as_tree(nodes: NDArray[np.void], measures: list[str], n_sets: int) -> Tree:
    """A tree of the library in the form of `pipeline.rock.boulders.trees`, its leaves divided by the number of sets."""
    is_leaf = nodes["is_leaf"].astype(bool)
    number = np.where(is_leaf, ~(np.cumsum(is_leaf) - 1), np.cumsum(~is_leaf) - 1)
    splits = tuple(
        (
            measures[int(node["feature_idx"])],
            rounded(min(float(node["num_threshold"]), HIGHEST_LIMIT), ".4g"),
            int(number[node["left"]]),
            int(number[node["right"]]),
        )
        for node in nodes[~is_leaf]
    )
    return Tree(splits=splits, leaves=tuple(rounded(float(v) / n_sets, ".3g") for v in nodes[is_leaf]["value"]))


def rounded(value: float, form: str, /) -> float:
    """The number that is left when it is written in this form: the file and what is measured with it must agree."""
    return float(f"{value:{form}}")


def in_crowd(part: pd.DataFrame, /) -> pd.DataFrame:
    """The lumps of a scene that are kept where they overlap, with the lookalikes a hectare around each."""
    kept = part[best_of(part) & (part.odds > np.log(LEAST_CANDIDATE_CONFIDENCE))]
    if not len(kept):
        return kept.assign(crowd=0.0, near=0.0)
    bounds = (part.east.min(), part.north.min(), part.east.max(), part.north.max())
    grid = Grid.covering(bounds, cell_m=1.0, crs=CRS)
    as_found = gpd.GeoDataFrame(
        {"confidence": 1 / (1 + np.exp(-kept.odds))}, geometry=gpd.points_from_xy(kept.east, kept.north)
    )
    known = np.ones(grid.shape, bool)
    crowd, near = lookalikes_per_ha(as_found, known, grid), boulders_per_ha(as_found, known, grid)
    return kept.assign(crowd=crowd, near=near)


DARKER_SHARE, DARKER_TO = 0.5, 0.8
"""Share of the boulders of `FIT_FOLDERS` that are made darker, and by how much of the logarithm at most: in those
scenes rock is as bright as the ground, as it need not be elsewhere (our choice)."""


def otherwise_lit(table: pd.DataFrame, rng: np.random.Generator, /) -> pd.DataFrame:
    """The lumps of `FIT_FOLDERS` twice: once with some of their rocks darker, once without intensities."""
    darker, without = table.copy(), table.assign(b_bright=USUAL_BRIGHTNESS)
    is_rock = (table.kind == "boulder") & (table.thing >= 0)
    rocks = table[is_rock].groupby(["scene", "thing"], sort=True).ngroup().to_numpy()
    n = int(rocks.max(initial=-1)) + 1
    by = np.where(rng.random(n) < DARKER_SHARE, rng.uniform(0, DARKER_TO, n), 0.0)
    darker.loc[is_rock, "b_bright"] -= by[rocks]
    return pd.concat([darker, without], ignore_index=True)


REAL_WEIGHT = 0.25
"""Weight of real tiles, where lumps that nobody planted count as no boulders though some are: they tell how few are to
be believed in a thicket, and little of what is true of the others."""
DRAWN_WITHIN_M = 3.0
"""A boulder that is drawn so near a true one is right: half of what its dot covers on the ground."""
FIT_FROM = 0.1
"""Confidence from which lumps decide how far the odds are believed: the many that nobody would draw lie on another
curve, and what they say of the drawn ones is wrong (with them nearly all of those called 0.5 were boulders)."""


RELIEF_WEIGHT = 0.3
"""Weight of the flights over relief, which hold most of the lumps."""
CLUTTER_WEIGHT = 0.2
"""Weight of planted bushes, stumps and the like, which look more like boulders than those of scenes that others made.
Counted in full, 7 in 10 of the boulders stated at 0.5 were there in four hard scenes, two simple ones and four blocks
of relief; not at all, 2 in 10 of those stated at 0.5 in planted tiles (a middle way, chosen on these places)."""


def fit_company(table: pd.DataFrame, /) -> Company:
    """What turns log odds and company into confidence, so that of those said p, p in a hundred are there.

    In real tiles what was not planted counts as no boulder, so confidence errs on the low side.
    """
    kept = pd.concat([lumps for _, part in table.groupby("scene") for lumps in as_met(part)], ignore_index=True)
    kept = kept[kept.tall >= LEAST_DRAWN_M]
    y = (kept.to_boulder <= DRAWN_WITHIN_M).to_numpy(float)
    tile = kept.scene.str.split("/").str[0]
    weight = company_weights(kept, tile)
    terms = company_terms(kept.odds.to_numpy(), kept.crowd.to_numpy(), kept.near.to_numpy())
    weights = _logistic(terms, y, weight)
    decide = terms @ weights > np.log(FIT_FROM / (1 - FIT_FROM))
    weights = _logistic(terms[decide], y[decide], weight[decide])
    sure = 1 / (1 + np.exp(-terms @ weights))
    for name in np.unique(tile):
        here = (tile == name) & (sure >= SETTINGS.least_boulder_confidence)
        if here.any():
            print(f"  {name}: said {sure[here].mean():.2f}, was {y[here].mean():.2f}, of {here.sum()}")
    names = ("offset", "stretch", "per_log_lookalikes", "per_log_boulders")
    return Company(**{name: rounded(float(value), ".2f") for name, value in zip(names, weights, strict=True)})


def as_met(part: pd.DataFrame, /) -> list[pd.DataFrame]:
    """The lumps of a scene that are kept where they overlap; of a planted one with boulders in several numbers."""
    if not part.is_planted.iloc[0]:
        return [in_crowd(part.assign(share=1.0))]
    rng = np.random.default_rng(SPARSE_SEED)
    thinner = [sparser(part, up_to_m, DRAWN_WITHIN_M, rng) for up_to_m in NATURAL_UP_TO_M]
    return [in_crowd(lumps.assign(share=lumps["share"] / len(thinner))) for lumps in thinner if len(lumps)]


SPARSE_SEED = 5


def company_weights(kept: pd.DataFrame, tile: pd.Series, /) -> Floats:
    """(k,) how much each lump counts for what turns log odds into confidence."""
    is_real, is_relief = tile.isin(TILES).to_numpy(), tile.str.startswith("relief").to_numpy()
    is_clutter = ((kept.thing >= 0) & (kept.kind != "boulder") & (kept.to_boulder > DRAWN_WITHIN_M)).to_numpy()
    of_place = np.where(is_real, REAL_WEIGHT, np.where(is_relief, RELIEF_WEIGHT, 1.0))
    weight: Floats = kept["share"].to_numpy() * of_place * np.where(is_clutter, CLUTTER_WEIGHT, 1.0)
    return weight


LEAST_DRAWN_M = isom("204").smallest.height_m - HEIGHT_ERROR_M


def _logistic(terms: Floats, y: Floats, weight: Floats) -> Floats:
    """Weights of a logistic regression."""

    def loss(c: Floats) -> tuple[float, Floats]:
        odds = terms @ c
        left = weight * (1 / (1 + np.exp(-odds)) - y)
        return float(weight @ (np.logaddexp(0, odds) - y * odds)), terms.T @ left

    return np.asarray(minimize(loss, np.zeros(terms.shape[1]), jac=True, method="BFGS").x)


def best_of(part: pd.DataFrame) -> NDArray[np.bool_]:
    """Which candidates of one scene are kept where they overlap."""
    places = part[["east", "north"]].to_numpy()
    return keep_best(places, part.radius.to_numpy(), 1 / (1 + np.exp(-part.odds.to_numpy())))


def measured(makers: list[Callable[[], Scene]], store: Path | None, /) -> pd.DataFrame:
    """The lumps of scenes, read from the store where it has them, or measured and stored."""
    if store is not None and store.exists():
        return pd.read_pickle(store)
    with ProcessPoolExecutor() as pool:
        parts = list(pool.map(_candidates_of, makers))
    table = pd.concat(parts, ignore_index=True)
    if store is not None:
        table.to_pickle(store)
    return table


def _candidates_of(make: Callable[[], Scene]) -> pd.DataFrame:
    start = time.perf_counter()
    scene = make()
    table = candidates(scene)
    print(scene.name, len(table), f"{time.perf_counter() - start:.1f} s", flush=True)
    return table


def fit() -> None:
    """Fit the trees of both looks, then what stands around, and write config/boulder_trees.json."""
    store = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    table = measured(fit_scenes(), store)
    is_folder = table.scene.isin(FIT_FOLDERS)
    planted, folders = table[~is_folder], table[is_folder]
    lit = otherwise_lit(folders.reset_index(drop=True), np.random.default_rng(FOLDER_SEED))
    first, full = fit_looks(pd.concat([planted, lit], ignore_index=True))
    unseen = measured(unseen_scenes(), store and store.with_suffix(".unseen" + store.suffix))
    tried = [with_odds(unseen, first, full)]
    for name in FIT_FOLDERS:
        # Odds of a scene by trees that were not fitted to it: of what they know by heart they are too sure.
        others = pd.concat([planted, lit[lit.scene != name]], ignore_index=True)
        tried.append(with_odds(folders[folders.scene == name], *fit_looks(others)))
    company = fit_company(pd.concat(tried, ignore_index=True))
    BOULDER_TREES.write_text(as_record(first, full, company, made_on=datetime.date.today()), encoding="utf-8")


FOLDER_SEED = 7


def fit_looks(table: pd.DataFrame, /) -> tuple[FirstLookForest, Forest]:
    """The trees of both looks, fitted to the lumps of a table."""
    quick = fit_trees(table, "a_", FIRST_LOOK_SIZE)
    odds = odds_of(table, "a_", quick)
    reached = np.quantile(odds[(table.label == 1) & (table.tall >= LEAST_DRAWN_M)], 1 - FIRST_LOOK_KEEPS)
    first = FirstLookForest(offset=quick.offset, trees=quick.trees, least=rounded(float(reached), ".2f"))
    return first, fit_trees(table[odds >= first.least].reset_index(drop=True), "b_", FULL_SIZE)


def with_odds(table: pd.DataFrame, first: FirstLookForest, full: Forest, /) -> pd.DataFrame:
    """The lumps that pass the first look, with their log odds by the full trees."""
    passed = table[odds_of(table, "a_", first) >= first.least].reset_index(drop=True)
    return passed.assign(odds=odds_of(passed, "b_", full))


def as_record(first: FirstLookForest, full: Forest, company: Company, /, *, made_on: datetime.date) -> str:
    """The text of config/boulder_trees.json: what was fitted to what, then the numbers, a line a tree."""
    share = 100 * FIRST_LOOK_KEEPS
    head = {
        "what": "Trees that tell boulders from what looks like them; see pipeline/rock/boulders/trees.py. Lumps with "
        f"log odds below first_look.least, which {share:g} in 100 lumps of boulders reach, are not measured in full.",
        "made_by": "python -m tests.benchmarks.rock_fit",
        "made_on": made_on.isoformat(),
        "made_from": fitted_to(),
        "company": company.model_dump(),
    }
    looks = [
        ("first_look", {"offset": first.offset, "least": first.least}, first),
        ("full", {"offset": full.offset}, full),
    ]
    parts = [f"{json.dumps(name)}: {json.dumps(value)}" for name, value in head.items()]
    for name, numbers, forest in looks:
        trees = ",\n".join(json.dumps(tree.model_dump(), separators=(",", ":")) for tree in forest.trees)
        start = json.dumps(numbers).removesuffix("}")
        parts.append(f'{json.dumps(name)}: {start}, "trees": [\n{trees}\n]}}')
    return "{\n" + ",\n".join(parts) + "\n}\n"


def fitted_to() -> dict[str, object]:
    """Names of the data, seeds and densities of everything the trees and the company are fitted to."""
    return {
        "tiles planted, with seeds": FIT_SEEDS,
        "tiles thinned and planted": {"tiles": FIT_THINNED, "seeds": FIT_THINNED_SEEDS, "share of pulses": THINNED_TO},
        "made scenes, seed and pulses/m2": FIT_MADE,
        "real relief, seeds and pulses/m2": FIT_RELIEF,
        "open slopes, seed and pulses/m2": FIT_OPEN,
        "thickets, seed, pulses/m2 and share of pulses stopped": FIT_THICKETS,
        "scenes with their own truth": FIT_FOLDERS,
        "company: tiles planted": {"tiles": COMPANY_TILES, "seeds": COMPANY_SEEDS},
        "company: made scenes, seed and pulses/m2": COMPANY_MADE,
        "company: real relief, seeds and pulses/m2": COMPANY_RELIEF,
    }


if __name__ == "__main__":
    fit()
