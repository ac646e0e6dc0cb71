"""What a survey may promise: `python -m tests.benchmarks.promises TRUTH=DRAFT ... [--write]`.

TRUTH is the folder of a made scene with known truth, DRAFT the folder that its draft was written to. Every true
feature, and every one drawn, is a case; it lies on a square of ground that is told as a survey tells it. The table
holds the cases of all scenes; each scene is then promised what the others show, and compared. Beside what of the drawn
came true stands what the drawn features themselves said, their mean confidence.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pandas as pd
import pyogrio
import rasterio
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize
from scipy.spatial import cKDTree

from pipeline.returns.cloud import Cloud
from pipeline.shipped import PROMISES
from pipeline.survey.promises import GROUND_PER_M2, SHARES, density_class, tables_of
from pipeline.survey.sample.square_sums import SQUARE_M
from pipeline.survey.squares import KINDS_OF_GROUND, Squares, squares_of

Places = NDArray[np.float64]
Case = tuple[str, str, Places, NDArray[np.bool_], Places]
"""Kind of verdict, `found` or `right`, (n, 2) places, (n,) whether each was found or right, and (n,) the confidence of
those drawn, or none."""
UNSAID: Places = np.empty(0)
Row = dict[str, object]


@dataclass(frozen=True)
class Kind:
    """How one kind of feature is compared.

    Attributes
    ----------
    feature : kind of verdict
    truth : layer of the truth
    layer, symbols : where it is drawn
    within_m : metres within which a drawn one is the same as a true one
    size, least, most : column of its size; what must be found is of `least` or more and less than `most`, in metres
    may : least size that may be drawn
    also : other layers of the truth along which one may be drawn: a ride may hold a path
    """

    feature: str
    truth: str
    layer: str
    symbols: tuple[str, ...]
    within_m: float
    size: str = ""
    least: float = 0.0
    most: float = np.inf
    may: float = 0.0
    also: tuple[str, ...] = ()


BOULDERS = ("204", "205", "206", "207")
POINTS = (
    Kind("landform detail", "knolls", "landform_point", ("109", "110"), 6.0, "height", 1.2, may=0.6),
    Kind("landform detail", "pits", "landform_point", ("111", "112"), 5.0, "depth", 1.0, may=0.5),
    Kind("boulders", "boulders", "rock_point", BOULDERS, 3.0, "height", 1.0, 2.0, may=0.6),
    Kind("high boulders", "boulders", "rock_point", BOULDERS, 3.0, "height", 2.0, may=0.6),
    Kind("buildings", "buildings", "manmade_area", ("521",), 5.0),
)
LINES = (
    Kind("cliffs", "cliffs", "rock_line", ("201", "202"), 5.0, "height", 1.5),
    Kind("paths", "paths", "manmade_line", ("502", "503", "504", "505", "506", "507"), 5.0, also=("rides",)),
    Kind("rides", "rides", "manmade_line", ("508",), 5.0, also=("paths",)),
    Kind("streams", "streams", "water_line", ("304", "305", "306"), 10.0),
)
LEAST_TRIED = 10
"""Fewer cases of a scene tell nothing of what it was promised."""
BANK_M = 15.0
"""Within so many metres of a pond a steep bank may be drawn as a cliff, though it is none in the truth."""
STEP_M = 5.0
"""Metres of a line that count as one case."""
QUARTER_INTERVAL_M = 1.25
"""How far contours of 5 m may be out in height: a quarter of their interval (ISOM 2017-2, 2.9, from memory)."""
OPEN_LAND, FOREST = ("401", "402", "403", "404"), {"406": 1, "407": 1, "408": 2, "409": 2, "410": 3}


def cases(truth: Path, draft: Path, /) -> Iterator[Case]:
    """What of the truth was found and what of the drawn is there."""
    for kind in POINTS:
        yield from cases_of_points(kind, truth, draft)
    for kind in LINES:
        yield from cases_of_lines(kind, truth, draft)
    yield from cases_of_ground(truth, draft)


def cases_of_points(kind: Kind, truth: Path, draft: Path) -> Iterator[Case]:
    """A case for each feature; a small closed contour shows a knoll as a symbol does."""
    real, drawn = layer(truth / "truth.gpkg", kind.truth), of_symbols(layer(draft / "draft.gpkg", kind.layer), kind)
    size = real[kind.size] if kind.size else np.ones(len(real))
    must, may = places_of(real[(size >= kind.least) & (size < kind.most)]), places_of(real[size >= kind.may])
    ours = places_of(drawn)
    rings = closed_contours(layer(draft / "draft.gpkg", "landform_line")) if kind.truth == "knolls" else must[:0]
    yield kind.feature, "found", must, is_near(must, np.concatenate((ours, rings)), kind.within_m), UNSAID
    yield kind.feature, "right", ours, is_near(ours, may, kind.within_m), drawn["confidence"].to_numpy(np.float64)


def cases_of_lines(kind: Kind, truth: Path, draft: Path) -> Iterator[Case]:
    """A case for each STEP_M of line."""
    real, drawn = layer(truth / "truth.gpkg", kind.truth), of_symbols(layer(draft / "draft.gpkg", kind.layer), kind)
    must = along(real[real[kind.size] >= kind.least] if kind.size and len(real) else real, STEP_M)
    yield kind.feature, "found", must, is_near(must, along(drawn, 1.0), kind.within_m), UNSAID
    ours = along(drawn, STEP_M)
    steps = [len(np.arange(0, line.length, STEP_M)) for line in drawn.geometry]
    said = np.repeat(drawn["confidence"].to_numpy(np.float64), steps)
    near = np.concatenate([along(layer(truth / "truth.gpkg", name), 1.0) for name in (kind.truth, *kind.also)])
    told = ~is_by_water(ours, truth) if kind.feature == "cliffs" else np.ones(len(ours), np.bool_)
    yield kind.feature, "right", ours[told], is_near(ours, near, kind.within_m)[told], said[told]


def is_by_water(places: Places, truth: Path) -> NDArray[np.bool_]:
    """(n,) whether a pond lies within BANK_M."""
    with rasterio.open(truth / "truth_pond.tif") as source:
        row, col = np.nonzero(source.read(1) > 0.5)
        ponds = np.column_stack(source.transform * (col + 0.5, row + 0.5)).reshape(-1, 2)
    return is_near(places, ponds, BANK_M)


def cases_of_ground(truth: Path, draft: Path) -> Iterator[Case]:
    """A case for each SQUARE_M of ground: its height, its openness, its runnability and whether it is water."""
    with rasterio.open(truth / "truth_dem.tif") as source:
        height, transform = source.read(1), source.transform
    plants, openness, pond = (rasterio.open(truth / f"truth_{name}.tif").read(1) for name in ("pad", "open", "pond"))
    step = int(SQUARE_M / transform.a)
    row, col = (index.ravel() for index in np.mgrid[step // 2 : len(height) : step, step // 2 : height.shape[1] : step])
    at = np.column_stack(transform * (col + 0.5, row + 0.5))

    def sureness(name: str, symbols: Iterable[str]) -> Places:
        """Confidence of what is drawn at each place, 0 where nothing is."""
        areas = of_symbols(layer(draft / "draft.gpkg", name), tuple(symbols))
        shapes = [*zip(areas.geometry, areas["confidence"], strict=True)] or [(shapely.Point(-1e7, -1e7), 1.0)]
        burnt = rasterize(shapes, out_shape=height.shape, transform=transform, dtype=np.float64)
        return np.asarray(burnt[row, col], np.float64)

    with rasterio.open(draft / "rasters" / "bare_earth.tif") as source:
        ours = np.array([value[0] for value in source.sample(at, masked=True)], np.float64)
    level = np.abs(ours - height[row, col]) <= QUARTER_INTERVAL_M
    is_pond, is_open = pond[row, col] > 0.5, openness[row, col] > 0
    yield "contours", "found", at[~is_pond], level[~is_pond], UNSAID
    known = np.isfinite(ours) & ~is_pond
    yield "contours", "right", at[known], level[known], UNSAID
    water, yellow = sureness("water_area", ("301", "302", "303")), sureness("vegetation_area", OPEN_LAND)
    for name, real, sure in (("water", is_pond, water), ("open land", is_open, yellow)):
        yield name, "found", at[real], sure[real] > 0, UNSAID
        yield name, "right", at[sure > 0], real[sure > 0], sure[sure > 0]
    band = np.digitize(plants[row, col], (0.1, 0.4, 0.9))
    ours = sum((value * (sureness("vegetation_area", (s,)) > 0) for s, value in FOREST.items()), np.zeros(len(at)))
    is_forest = ~is_open & ~is_pond & (yellow == 0) & (sureness("technical_area", ("600",)) == 0)
    for share, which in (("found", is_forest & (band > 0)), ("right", is_forest)):
        yield "runnability", share, at[which], (ours == band)[which], UNSAID


def layer(path: Path, name: str) -> gpd.GeoDataFrame:
    """A layer, empty where there is none."""
    try:
        return gpd.read_file(path, layer=name)
    except pyogrio.errors.DataLayerError:
        return gpd.GeoDataFrame({"symbol": [], "height": [], "depth": [], "confidence": []}, geometry=[])


def of_symbols(features: gpd.GeoDataFrame, wanted: Kind | tuple[str, ...]) -> gpd.GeoDataFrame:
    """Features of some symbols, variants among them."""
    symbols = wanted.symbols if isinstance(wanted, Kind) else wanted
    return features[features["symbol"].astype(str).str.split(".").str[0].isin(symbols)]


def closed_contours(lines: gpd.GeoDataFrame) -> Places:
    """(n, 2) middles of small closed contours, which show a knoll as a symbol does."""
    rings = [line for line in of_symbols(lines, ("101", "102", "103")).geometry if line.is_ring and line.length < 80]
    return np.array([line.centroid.coords[0] for line in rings]).reshape(-1, 2)


def places_of(features: gpd.GeoDataFrame) -> Places:
    """(n, 2) a place of each."""
    return shapely.get_coordinates(features.geometry.representative_point().to_numpy()).reshape(-1, 2)


def along(features: gpd.GeoDataFrame, step_m: float) -> Places:
    """(n, 2) places along lines."""
    found = [shapely.line_interpolate_point(line, np.arange(0, line.length, step_m)) for line in features.geometry]
    return shapely.get_coordinates(np.concatenate(found)) if found else np.empty((0, 2))


def is_near(places: Places, others: Places, within_m: float) -> NDArray[np.bool_]:
    """(n,) whether any of the others lies that near."""
    if not len(places) or not len(others):
        return np.zeros(len(places), np.bool_)
    near: NDArray[np.bool_] = cKDTree(others).query(places)[0] <= within_m
    return near


def squares_of_scene(truth: Path) -> Squares:
    """The ground of a scene, as a survey of it tells it."""
    clouds = []
    for path in sorted((truth / "tiles").glob("*.la[sz]")):
        las = laspy.read(path)
        numbers = {"return_number": np.asarray(las.return_number), "n_returns": np.asarray(las.number_of_returns)}
        clouds.append(Cloud.of(np.column_stack((las.x, las.y, las.z)), **numbers))
    return squares_of(clouds)


def rows_of(truth: Path, draft: Path, squares: Squares) -> list[Row]:
    """Rows of the table from one scene."""
    tree = cKDTree((squares.place + 0.5) * SQUARE_M)
    density, kind = density_class(squares.ground_per_m2), squares.kind
    counts: dict[tuple[str, str, int, int], list[float]] = {}
    for feature, share, places, hit, said in cases(truth, draft):
        at = tree.query(places)[1] if len(places) else []
        for n, (square, is_hit) in enumerate(zip(at, hit, strict=True)):
            count = counts.setdefault((feature, share, int(density[square]), int(kind[square])), [0, 0, 0.0])
            count[0] += int(is_hit)
            count[1] += 1
            count[2] += float(said[n]) if len(said) else np.nan
    classes = (0.0, *GROUND_PER_M2)
    return [
        {
            "feature": feature,
            "share": share,
            "at_least_per_m2": classes[thick],
            "ground": KINDS_OF_GROUND[kind_],
            "hits": hits,
            "cases": number,
            "said": None if np.isnan(said_) else round(said_, 2),
        }
        for (feature, share, thick, kind_), (hits, number, said_) in sorted(counts.items())
    ]


def tried(rows: list[Row], own: list[Row]) -> Iterator[Row]:
    """What the other scenes' rows promise on the squares of the cases of one scene, and what came true."""
    tables = tables_of({"rows": rows})
    for feature, share in sorted({(str(row["feature"]), str(row["share"])) for row in own}):
        mine = pd.DataFrame([row for row in own if (row["feature"], row["share"]) == (feature, share)])
        number = mine["cases"].to_numpy()
        if feature not in tables or number.sum() < LEAST_TRIED:
            continue
        kind = np.repeat(mine["ground"].map(KINDS_OF_GROUND.index).to_numpy(), number)
        density = np.repeat(mine["at_least_per_m2"].to_numpy(np.float64), number)
        promise = tables[feature].expected(Squares(np.zeros((len(kind), 2), np.int64), density, kind))
        promised = {"found": promise.found, "right": promise.right}[share]
        yield {
            "feature": feature,
            "share": share,
            "from": round(promised.low, 2) if promised else None,
            "to": round(promised.high, 2) if promised else None,
            "came_true": round(float(mine["hits"].sum() / number.sum()), 2),
            "features_said": None if mine["said"].isna().any() else round(float(mine["said"].sum() / number.sum()), 2),
            "cases": int(number.sum()),
        }


def main(arguments: list[str]) -> None:
    """Print, and with --write keep, the table and how each scene did by what the others promise."""
    pairs = [tuple(map(Path, one.split("="))) for one in arguments if one != "--write"]
    by_scene = {truth.name: rows_of(truth, draft, squares_of_scene(truth)) for truth, draft in pairs}
    rows = [row | {"scene": scene} for scene, own in by_scene.items() for row in own]
    trials = [
        {"scene": scene, **one}
        for scene, own in by_scene.items()
        for one in tried([row for row in rows if row["scene"] != scene], own)
    ]
    print(pd.DataFrame(trials).to_string(index=False))
    told = pd.DataFrame(trials).dropna(subset=["from"])
    off = 0.005  # what rounding hides
    print(f"came true as promised or better: {(told['came_true'] >= told['from'] - off).mean():.2f} of {len(told)}")
    if "--write" in arguments:
        what = f"cases of true features {SHARES[0]} and of drawn ones {SHARES[1]}, by ground returns a m2 and ground"
        record = {"made_by": "python -m tests.benchmarks.promises", "what": what, "rows": rows, "tried": trials}
        PROMISES.write_text(json.dumps(record, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
