"""How many of a draft's errors the first third of its check list finds.

Run: python -m tests.benchmarks.ranking SCENE OUT ...

SCENE is a folder with the truth of a made scene, OUT the folder of a draft of it. What is drawn and what is missed is
told by the tolerances of the scorer of these scenes (`score_draft.py`): a boulder of the truth within 3 m, a knoll
within 6, a pit within 5; half of a cliff within 6 m (missed: within 4), of a ride, track or path within 5, of a
watercourse within 10; half of an area of green or open land, of a pond or of a building on its like. Symbols of
which the scenes have no truth (banks, trees, boulder fields, fences and so on) stay on the list and are no errors.

A false feature is found when its row is walked. A missed one can be named by the list when a candidate shows it, and is
found when that candidate is walked. In the second figure all missed features count, and one is found as well when it
lies within sight of a place walked.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import rasterio
import shapely
from numpy.typing import NDArray
from rasterio.features import geometry_mask
from scipy.spatial import KDTree

from pipeline.fieldwork.questions.stops import SEEN_FROM_STOP_M
from tests.benchmarks.results import Table

CANDIDATE = "candidate"
FITTED = ("scene_a", "hard_moraine", "hard_karst")
"""Scenes that `config/looks.csv` and the constants of the list were fitted on."""
SHUFFLES = 200
BANDS = {"406": (0.1, 0.4), "408": (0.4, 0.9), "410": (0.9, np.inf)}
"""Plant-area density of the greens, as the scenes' mapper draws them."""
OPEN = ("401", "402", "403", "404")


@dataclass(frozen=True)
class Kind:
    """How drawn features of some symbols are told from errors.

    Attributes
    ----------
    truth : layer of the truth
    symbols : drawn for it
    size, least_true, least_missed : column of the truth, least value that makes a drawn one right, or a missing one
        missed
    right_m, missed_m : distance within which a drawn one is right, or one of the truth is drawn
    """

    truth: str
    symbols: tuple[str, ...]
    size: str
    least_true: float
    least_missed: float
    right_m: float
    missed_m: float


KINDS = (
    Kind("boulders", ("204", "205", "206", "207"), "height", 0.6, 1.0, 3, 3),
    Kind("knolls", ("109", "110"), "height", 0.6, 1.2, 6, 6),
    Kind("pits", ("111", "112"), "depth", 0.6, 1.0, 5, 5),
    Kind("cliffs", ("201", "202"), "height", 0.0, 1.5, 6, 4),
    Kind("rides", ("508",), "", 0, 0, 5, 5),
    Kind("paths", ("502", "503", "504", "505", "506", "507"), "", 0, 0, 5, 5),
    Kind("streams", ("304", "305", "306"), "", 0, 0, 10, 10),
)
CLUSTER_M = 10.0
"""A boulder cluster stands for the boulders this near."""
RING_M = 80.0
"""A closed contour up to this long shows a knoll."""


@dataclass(frozen=True)
class Errors:
    """What is wrong with a draft.

    Attributes
    ----------
    false_ids : drawn features that are not there
    missed : shapes that are there and not drawn
    named_by : for each missed one the ids of the candidates that show it
    """

    false_ids: tuple[str, ...]
    missed: tuple[shapely.Geometry, ...]
    named_by: tuple[frozenset[str], ...]


def features_of(draft: Path, /) -> gpd.GeoDataFrame:
    """All features of a draft in one table, numbers of variants without their point in `number`."""
    layers = [gpd.read_file(draft, layer=name) for name in pyogrio.list_layers(draft)[:, 0]]
    table = pd.concat([layer for layer in layers if len(layer)], ignore_index=True)
    return gpd.GeoDataFrame(table.assign(number=table["symbol"].str.partition(".")[0]), crs=layers[0].crs)


def share_near(shape: shapely.Geometry, others: NDArray[np.object_], within_m: float, /) -> float:
    """Share of a shape, by its length or outline, that lies within a distance of others."""
    if not len(others):
        return 0.0
    line = shape.boundary if shape.geom_type in ("Polygon", "MultiPolygon") else shape
    near = shapely.union_all(shapely.buffer(others, within_m))
    return float(line.within(near)) if not line.length else float(line.intersection(near).length / line.length)


def errors_of_kind(kind: Kind, features: gpd.GeoDataFrame, scene: Path, /) -> Errors:
    """False and missed features of a kind."""
    truth = gpd.read_file(scene / "truth.gpkg", layer=kind.truth)
    size = truth[kind.size] if kind.size else pd.Series(np.inf, truth.index)
    ours = features[features["number"].isin(kind.symbols)]
    is_candidate = (ours["status"] == CANDIDATE).to_numpy()
    drawn = ours[~is_candidate]
    real = truth.geometry[size >= kind.least_true].to_numpy()
    if kind.truth in ("rides", "paths"):  # a path drawn along a ride is one way drawn as another, no ghost
        real = np.concatenate([gpd.read_file(scene / "truth.gpkg", layer=name).geometry for name in ("rides", "paths")])
    false = [row.id for row in drawn.itertuples() if share_near(row.geometry, real, kind.right_m) < 0.5]
    missed = [shape for shape in truth.geometry[size >= kind.least_missed] if not _is_drawn(kind, shape, features)]
    named = [
        frozenset(ours["id"][is_candidate & np.array([_shows(kind, row, shape) for row in ours.itertuples()], bool)])
        for shape in missed
    ]
    return Errors(tuple(false), tuple(missed), tuple(named))


def _shows(kind: Kind, row: object, shape: shapely.Geometry) -> bool:
    """Whether a feature shows a thing of the truth."""
    reach = CLUSTER_M if row.number == "207" else kind.missed_m
    if shape.geom_type == "Point":
        return bool(row.geometry.distance(shape) <= reach)
    return share_near(shape, np.array([row.geometry], object), reach) >= 0.5


def _is_drawn(kind: Kind, shape: shapely.Geometry, features: gpd.GeoDataFrame) -> bool:
    """Whether anything drawn shows a thing of the truth."""
    drawn = features[features["status"] != CANDIDATE]
    own = drawn[drawn["number"].isin(kind.symbols)]
    if shape.geom_type != "Point":
        return share_near(shape, own.geometry.to_numpy(), kind.missed_m) >= 0.5
    if any(_shows(kind, row, shape) for row in own.itertuples()):
        return True
    if kind.truth == "boulders":
        fields = drawn[drawn["number"].isin(["206", "207", "208", "209"])]
        return bool((fields.geometry.distance(shape) <= kind.missed_m).any())
    if kind.truth == "knolls":
        rings = drawn[drawn["number"].isin(["101", "102", "103"])].geometry
        small = [ring for ring in rings if ring.geom_type == "LineString" and ring.is_ring and ring.length < RING_M]
        return any(ring.centroid.distance(shape) <= kind.missed_m for ring in small)
    return False


def errors_of_areas(features: gpd.GeoDataFrame, scene: Path, /) -> Errors:
    """Green, open land, ponds and buildings of which less than half lies on their like; missed buildings."""
    with rasterio.open(scene / "truth_pad.tif") as source:
        pad, transform = source.read(1), source.transform
    is_open, is_pond = (_read(scene / f"truth_{name}.tif") > 0.5 for name in ("open", "pond"))
    houses = gpd.read_file(scene / "truth.gpkg", layer="buildings").geometry
    nowhere = np.zeros(pad.shape, bool)
    is_house = geometry_mask(houses, pad.shape, transform, invert=True) if len(houses) else nowhere
    like = {number: (pad > low) & (pad <= high) & ~is_open for number, (low, high) in BANDS.items()}
    like |= dict.fromkeys(OPEN, is_open) | dict.fromkeys(("301", "302"), is_pond) | {"521": is_house}
    areas = features[features["number"].isin(list(like)) & features.geom_type.isin(["Polygon", "MultiPolygon"])]
    drawn = areas[areas["status"] != CANDIDATE]
    false = [row.id for row in drawn.itertuples() if _share(row.geometry, like[row.number], transform) < 0.5]
    ours = areas[areas["number"] == "521"]
    missed = [
        house
        for house in houses
        if house.intersection(ours[ours["status"] != CANDIDATE].union_all()).area < house.area / 2
    ]
    proposed = ours[ours["status"] == CANDIDATE]
    named = [frozenset(proposed["id"][proposed.intersection(house).area >= house.area / 2]) for house in missed]
    return Errors(tuple(false), tuple(missed), tuple(named))


def _read(path: Path) -> NDArray[np.float32]:
    with rasterio.open(path) as source:
        return source.read(1)


def _share(shape: shapely.Geometry, is_like: NDArray[np.bool_], transform: rasterio.Affine) -> float:
    inside = geometry_mask([shape], is_like.shape, transform, invert=True, all_touched=True)
    return float(is_like[inside].mean()) if inside.any() else 0.0


def errors_of(scene: Path, draft: Path, /) -> Errors:
    """All errors of a draft of a made scene."""
    features = features_of(draft)
    parts = [*(errors_of_kind(kind, features, scene) for kind in KINDS), errors_of_areas(features, scene)]
    return Errors(
        tuple(one for part in parts for one in part.false_ids),
        tuple(one for part in parts for one in part.missed),
        tuple(one for part in parts for one in part.named_by),
    )


def found_by(errors: Errors, walked: pd.DataFrame, /) -> tuple[int, int, int]:
    """Errors that are found by walking some rows: false, missed that the list names, missed within sight or named."""
    ids = set(walked["id"])
    false = sum(one in ids for one in errors.false_ids)
    is_named = np.array([bool(named & ids) for named in errors.named_by], bool)
    if not len(errors.missed) or not len(walked):
        return false, int(is_named.sum()), int(is_named.sum())
    tree = KDTree(walked[["east_m", "north_m"]].to_numpy())
    in_sight = [
        tree.query([(at.x, at.y)])[0][0] <= SEEN_FROM_STOP_M for at in map(shapely.point_on_surface, errors.missed)
    ]
    return false, int(is_named.sum()), int((is_named | np.array(in_sight)).sum())


def nearest_first(rows: pd.DataFrame, /) -> NDArray[np.int64]:
    """Rows in the order in which one walks who goes to the nearest place each time, from the south-west corner."""
    places = rows[["east_m", "north_m"]].to_numpy()
    left, at, order = list(range(len(places))), places.min(axis=0), []
    while left:
        nearest = min(left, key=lambda one: (float(np.hypot(*(places[one] - at))), one))
        left.remove(nearest)
        order.append(nearest)
        at = places[nearest]
    return np.array(order, np.int64)


@dataclass(frozen=True)
class Ranked:
    """Errors of one scene, and those that the first third finds in three orders.

    Attributes
    ----------
    n_rows : on the list
    n_false, n_named, n_missed : errors: drawn and not there, missed and named by a candidate, missed at all
    found : order -> (false, named, named or in sight) that are found; random is a mean
    """

    n_rows: int
    n_false: int
    n_named: int
    n_missed: int
    found: dict[str, tuple[float, float, float]]


def ranked(scene: Path, out: Path, rows: pd.DataFrame, /) -> Ranked:
    """What the first third of a list finds.

    Parameters
    ----------
    rows : of `check_list.csv`
    """
    errors = errors_of(scene, out / "draft.gpkg")
    third = -(-len(rows) // 3)
    rng = np.random.default_rng(16)
    shuffled = [found_by(errors, rows.iloc[rng.permutation(len(rows))[:third]]) for _ in range(SHUFFLES)]
    found = {
        "list": found_by(errors, rows.head(third)),
        "random": tuple(np.mean(shuffled, axis=0).tolist()),
        "nearest": found_by(errors, rows.iloc[nearest_first(rows)[:third]]),
    }
    n_named = sum(bool(named) for named in errors.named_by)
    return Ranked(len(rows), len(errors.false_ids), n_named, len(errors.missed), found)


ORDERS = ("list", "random", "nearest")
COLUMNS = (
    "scene",
    "questions",
    "false",
    "missed named",
    "missed in all",
    *ORDERS,
    *(f"{one}, all missed" for one in ORDERS),
)


def line_of(name: str, one: Ranked, /) -> tuple[str, ...]:
    """A line of the table: numbers of errors, and shares found by each order."""
    named = [
        f"{(one.found[order][0] + one.found[order][1]) / max(1, one.n_false + one.n_named):.0%}" for order in ORDERS
    ]
    sight = [
        f"{(one.found[order][0] + one.found[order][2]) / max(1, one.n_false + one.n_missed):.0%}" for order in ORDERS
    ]
    return name, *map(str, (one.n_rows, one.n_false, one.n_named, one.n_missed)), *named, *sight


def together(parts: list[Ranked], /) -> Ranked:
    """Several scenes as one."""
    sums = [sum(getattr(part, name) for part in parts) for name in ("n_rows", "n_false", "n_named", "n_missed")]
    found = {order: tuple(np.sum([part.found[order] for part in parts], axis=0).tolist()) for order in ORDERS}
    return Ranked(*sums, found)


def compared(places: Mapping[str, tuple[Path, Path]], /) -> list[Table]:
    """What the first third finds, a row a scene, then those the weights were fitted on, the others, and all.

    Parameters
    ----------
    places : name -> folder of the truth and folder of the draft
    """
    found = {
        name: ranked(scene, out, pd.read_csv(out / "fieldwork" / "check_list.csv", dtype={"id": str, "name": str}))
        for name, (scene, out) in places.items()
    }
    rows = [line_of(name, one) for name, one in found.items()]
    for title, is_meant in (("fitted on", True), ("others", False)):
        part = [one for name, one in found.items() if (name in FITTED) == is_meant]
        rows += [line_of(title, together(part))] if part else []
    rows.append(line_of("all", together(list(found.values()))))
    return [Table("", list(COLUMNS), [list(row) for row in rows])]


def main(arguments: list[str]) -> None:
    """Print the table."""
    pairs = [*zip(map(Path, arguments[::2]), map(Path, arguments[1::2]), strict=True)]
    for table in compared({scene.name: (scene, out) for scene, out in pairs}):
        print("\n".join(table.as_markdown()))


if __name__ == "__main__":
    main(sys.argv[1:])
