"""What a survey may promise of landforms and cliffs: `python -m tests.benchmarks.promises TRUTH=DRAFT ... [--write]`.

TRUTH is the folder of a made scene with known truth, DRAFT the folder that its draft was written to. Every true knoll,
pit and stretch of cliff, and every one drawn, is a case; it lies on a square of ground that is told as a survey tells
it. Scenes named in MADE_FROM make the table, the others try it.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pyogrio
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.returns.cloud import Cloud
from pipeline.shipped import PROMISES
from pipeline.survey.promises import GROUND_PER_M2, SHARES, density_class, tables_of
from pipeline.survey.squares import KINDS_OF_GROUND, SQUARE_M, Squares, squares_of

MADE_FROM = ("hard_moraine", "hard_farmland", "scene_a")
"""Scenes that the table is made from. Only scenes whose truth holds every landform and cliff may be given."""
Places = NDArray[np.float64]
POINTS = (
    ("landform detail", "knolls", ("109", "110"), "height", 1.2, 6.0),
    ("landform detail", "pits", ("111", "112"), "depth", 1.0, 5.0),
)
"""Kind of verdict, layer of the truth, symbols, column of the size, least size that must be found, and metres within
which a feature is the same; what is half as large may be drawn."""
CLIFFS_M, CLIFF_NEAR_M, CLIFF_STEP_M = 1.5, 5.0, 5.0
"""Least height of a cliff that must be found, metres within which a drawn one is the same, metres of cliff a case."""


def cases(truth: Path, draft: Path, /) -> Iterator[tuple[str, str, Places, NDArray[np.bool_]]]:
    """Feature, share, places and whether each was found or right."""
    drawn = layer(draft / "draft.gpkg", "landform_point")
    rings = closed_contours(layer(draft / "draft.gpkg", "landform_line"))
    for feature, name, symbols, size, least, near_m in POINTS:
        real, ours = layer(truth / "truth.gpkg", name), places_of(of_symbols(drawn, symbols))
        found_by = np.concatenate((ours, rings)) if name == "knolls" else ours
        must = places_of(real[real[size] >= least]) if len(real) else np.empty((0, 2))
        may = places_of(real[real[size] >= least / 2]) if len(real) else np.empty((0, 2))
        yield feature, "found", must, is_near(must, found_by, near_m)
        yield feature, "right", ours, is_near(ours, may, near_m)
    real = layer(truth / "truth.gpkg", "cliffs")
    ours = of_symbols(layer(draft / "draft.gpkg", "rock_line"), ("201", "202"))
    must = along(real[real["height"] >= CLIFFS_M] if len(real) else real, CLIFF_STEP_M)
    yield "cliffs", "found", must, is_near(must, along(ours, 1.0), CLIFF_NEAR_M)
    drawn_at = along(ours, CLIFF_STEP_M)
    yield "cliffs", "right", drawn_at, is_near(drawn_at, along(real, 1.0), CLIFF_NEAR_M)


def layer(path: Path, name: str) -> gpd.GeoDataFrame:
    """A layer, empty where there is none."""
    try:
        return gpd.read_file(path, layer=name)
    except pyogrio.errors.DataLayerError:
        return gpd.GeoDataFrame({"symbol": [], "height": [], "depth": []}, geometry=[])


def of_symbols(features: gpd.GeoDataFrame, symbols: tuple[str, ...]) -> gpd.GeoDataFrame:
    """Features of some symbols, variants among them."""
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


def rows_of(truth: Path, draft: Path, squares: Squares) -> list[dict[str, object]]:
    """Rows of the table from one scene."""
    tree = cKDTree((squares.place + 0.5) * SQUARE_M)
    density, kind = density_class(squares.ground_per_m2), squares.kind
    counts: dict[tuple[str, str, int, int], list[int]] = {}
    for feature, share, places, hit in cases(truth, draft):
        for square, is_hit in zip(tree.query(places)[1] if len(places) else [], hit, strict=True):
            count = counts.setdefault((feature, share, int(density[square]), int(kind[square])), [0, 0])
            count[0] += int(is_hit)
            count[1] += 1
    classes = (0.0, *GROUND_PER_M2)
    names = ("feature", "share", "at_least_per_m2", "ground", "hits", "cases")
    return [
        dict(zip(names, (feature, share, classes[thick], KINDS_OF_GROUND[kind], *count), strict=True))
        for (feature, share, thick, kind), count in sorted(counts.items())
    ]


def tried(rows: list[dict[str, object]], own: list[dict[str, object]]) -> Iterator[dict[str, object]]:
    """What was promised on the squares of the cases of one scene, and what came true."""
    tables = tables_of({"rows": rows})
    for feature, share in sorted({(str(row["feature"]), str(row["share"])) for row in own}):
        mine = [row for row in own if (row["feature"], row["share"]) == (feature, share)]
        number, hits = (np.array([int(str(row[name])) for row in mine]) for name in ("cases", "hits"))
        if feature not in tables or number.sum() < 10:
            continue
        density = np.repeat([float(str(row["at_least_per_m2"])) for row in mine], number)
        kind = np.repeat([KINDS_OF_GROUND.index(str(row["ground"])) for row in mine], number)
        promise = tables[feature].expected(Squares(np.zeros((len(kind), 2), np.int64), density, kind))
        came = round(float(hits.sum() / number.sum()), 2)
        promised = round({"found": promise.found, "right": promise.right}[share], 2)
        yield {"feature": feature, "share": share, "promised": promised, "came_true": came, "cases": int(number.sum())}


def main(arguments: list[str]) -> None:
    """Print, and with --write keep, the table and how it did on scenes that it was not made from."""
    pairs = [tuple(map(Path, one.split("="))) for one in arguments if one != "--write"]
    by_scene = {truth.name: rows_of(truth, draft, squares_of_scene(truth)) for truth, draft in pairs}
    rows = [row | {"scene": scene} for scene, own in by_scene.items() if scene in MADE_FROM for row in own]
    trials = [
        {"scene": scene, **one} for scene, own in by_scene.items() if scene not in MADE_FROM for one in tried(rows, own)
    ]
    print("scene  feature  share  promised  came true  cases")
    for one in trials:
        print("  ".join(str(value) for value in one.values()))
    if "--write" in arguments:
        what = f"cases of true features {SHARES[0]} and of drawn ones {SHARES[1]}, by ground returns a m2 and ground"
        record = {"made_by": "python -m tests.benchmarks.promises", "what": what, "rows": rows, "tried": trials}
        PROMISES.write_text(json.dumps(record, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
