"""Ids after small changes of a survey: `python -m tests.benchmarks.kept_ids FOLDER [CRS]`.

FOLDER holds the tiles of a survey. It is drafted as it is, with one return in twenty left out, and moved by a few
centimetres; and the features that both drafts have are asked whether they have the same id. `--drafts A B` compares
two drafts that are there already.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pandas as pd
import pyogrio
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from tests.benchmarks.results import Table
from tests.runs import tussock, write_area

LEFT_OUT_RATIO = 0.05
MOVED_M = (0.03, -0.02, 0.01)
"""East, north and up."""
POINT_M, SHAPE_M = 3.0, 10.0
"""A point is the same feature within the first, a line or an area whose middle has moved by less than the second and
whose size has changed by less than a quarter."""
KINDS = ("point", "line", "area")
OF_THE_SHEET = ("600", "601")


def thinned(tile: Path, target: Path) -> None:
    """A copy of a tile without one return in twenty, the same ones each time."""
    las = laspy.read(tile)
    las.points = las.points[np.random.default_rng(7).random(len(las.points)) >= LEFT_OUT_RATIO]
    las.write(target)


def moved(tile: Path, target: Path) -> None:
    """A copy of a tile moved by a few centimetres."""
    las = laspy.read(tile)
    for axis, by_m, scale in zip("XYZ", MOVED_M, las.header.scales, strict=True):
        las[axis] = las[axis] + round(by_m / scale)
    las.write(target)


def same_features(one: gpd.GeoDataFrame, other: gpd.GeoDataFrame) -> NDArray[np.intp]:
    """(k, 2) rows of two tables that are the same feature: same symbol, place and size, each the other's nearest."""
    pairs = [np.empty((0, 2), np.intp)]
    for symbol in sorted(set(one["symbol"]) & set(other["symbol"])):
        a, b = (np.flatnonzero((table["symbol"] == symbol).to_numpy()) for table in (one, other))
        (place_a, size_a), (place_b, size_b) = (_measured(table, rows) for table, rows in ((one, a), (other, b)))
        away_m, nearest = cKDTree(place_b).query(place_a)
        back = cKDTree(place_a).query(place_b)[1]
        near = np.where(size_a == 0, away_m <= POINT_M, away_m <= SHAPE_M)
        alike = np.maximum(size_a, size_b[nearest]) <= 1.25 * np.minimum(size_a, size_b[nearest])
        same = near & alike & (back[nearest] == np.arange(len(a)))
        pairs.append(np.column_stack((a[same], b[nearest[same]])))
    return np.concatenate(pairs)


def _measured(table: gpd.GeoDataFrame, rows: NDArray[np.intp]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    geometry = table.geometry.to_numpy()[rows]
    middle = shapely.centroid(geometry)
    size = np.where(shapely.get_dimensions(geometry) == 2, shapely.area(geometry), shapely.length(geometry))
    return np.column_stack((shapely.get_x(middle), shapely.get_y(middle))), size


def features_of(draft: Path) -> gpd.GeoDataFrame:
    """All features of a draft but north lines and sheet edge."""
    tables = [gpd.read_file(draft, layer=name) for name in pyogrio.list_layers(draft)[:, 0]]
    joined = pd.concat([table for table in tables if len(table)], ignore_index=True)
    return joined[~joined["symbol"].isin(OF_THE_SHEET)].reset_index(drop=True)


def kept_row(name: str, one: Path, other: Path) -> list[str]:
    """A row of the table: features of the first draft, and how many of those that both have kept their id."""
    a, b = features_of(one), features_of(other)
    pairs = same_features(a, b)
    same_id = a["id"].to_numpy(str)[pairs[:, 0]] == b["id"].to_numpy(str)[pairs[:, 1]]
    dimension = shapely.get_dimensions(a.geometry.to_numpy()[pairs[:, 0]])
    parts = [f"{same_id[dimension == number].sum()} of {(dimension == number).sum()}" for number, _ in enumerate(KINDS)]
    share = f"{same_id.mean():.0%}" if len(pairs) else "-"
    return [name, str(len(a)), str(len(pairs)), share, *parts]


def kept_ids(tiles: list[Path], title: str, crs: str = "") -> Table:
    """How many ids of a survey's draft stay after either change."""
    given = {"crs": crs} if crs else {}
    with tempfile.TemporaryDirectory(prefix="tussock-ids-") as name:
        drafts = {}
        for way, change in (("plain", None), ("5 % of returns left out", thinned), ("moved by 0.04 m", moved)):
            folder = Path(name) / str(len(drafts))
            (folder / "tiles").mkdir(parents=True)
            for tile in tiles:
                target = folder / "tiles" / tile.name
                target.symlink_to(tile.resolve()) if change is None else change(tile, target)
            done = tussock("draft", write_area(folder, f"{folder}/tiles/*.la[sz]", **given), "--cores", "2")
            if done.returncode:
                raise SystemExit(f"{way}: {done.stderr}")
            drafts[way] = folder / "out" / "draft.gpkg"
        rows = [kept_row(way, drafts["plain"], draft) for way, draft in drafts.items() if way != "plain"]
    return Table(title, COLUMNS, rows)


COLUMNS = ["survey", "features", "in both drafts", "ids kept", *(f"of {kind}s" for kind in KINDS)]


if __name__ == "__main__":
    if sys.argv[1] == "--drafts":
        print(" | ".join(kept_row("", Path(sys.argv[2]), Path(sys.argv[3]))))
    else:
        folder = Path(sys.argv[1])
        print("\n".join(kept_ids(sorted(folder.rglob("*.la[sz]")), folder.name, *sys.argv[2:3]).as_markdown()))
