"""What the exports of a draft hold and cost: `python -m tests.benchmarks.exports OUT`.

OUT is the output folder of a run. Every export and backdrop is written anew by its step into a folder that goes away,
and opened by a library that did not write it; the tables say how many features it found, and how many the draft has.
"""

from __future__ import annotations

import json
import sqlite3
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import gpxpy
import pyogrio
import rasterio
import shapefile as pyshp
from pmtiles.reader import MemorySource, all_tiles

from pipeline.exports.formats import BACKDROP_SOURCES, FROM_DRAFT, FROM_SHEET
from pipeline.exports.gpx import gpx_layers
from pipeline.files import layers
from pipeline.steps.exports.backdrop import backdrop
from pipeline.steps.exports.export import export
from pipeline.steps.exports.map_tiles import map_tiles
from tests.benchmarks.results import Table


def compared(out: Path, /) -> list[Table]:
    """Exports with seconds, size, features of the draft and features found; backdrops with seconds and size."""
    area = json.loads((out / "manifest.json").read_text(encoding="utf-8"))["area"]
    told: dict[str, object] = {
        "outline": out / "work" / "outline.gpkg",
        "survey": out / "report" / "survey.json",
        "season": out / "report" / "leaf_season.json",
        "borrowed": out / "report" / "borrowed.json",
        "name": area["name"],
        "scale": area["scale"],
        "interval_m": area["contour_interval_m"],
        "map_date": area["map_date"],
    }
    with tempfile.TemporaryDirectory() as folder:
        return [_exports(out, Path(folder), told), _backdrops(out, Path(folder), told)]


def _exports(out: Path, folder: Path, told: dict[str, object]) -> Table:
    tables = {name: layers.read_layer(out / "draft.gpkg", name) for name in layers.count_features(out / "draft.gpkg")}
    everything = sum(map(len, tables.values()))
    rows = []
    for kind, file in (FROM_DRAFT | FROM_SHEET).items():
        path, start = folder / file, time.perf_counter()
        if kind in FROM_DRAFT:
            export(draft=out / "draft.gpkg", out=path, **told)  # type: ignore[arg-type]
        else:
            map_tiles(picture=out / "sheets" / "field_sheet.tif", out=path, **told)  # type: ignore[arg-type]
        seconds = time.perf_counter() - start
        held = {"gpx": sum(map(len, gpx_layers(tables).values())), **dict.fromkeys(FROM_SHEET, 0)}.get(kind, everything)
        reader, count = READERS[kind]
        found = count(path)
        wanted = str(held) if kind in FROM_DRAFT else "-"
        what = f"{found}" if kind in FROM_DRAFT else f"{found} tiles"
        rows.append([kind, f"{seconds:.2f}", f"{path.stat().st_size / 1e6:.2f}", wanted, what, reader])
    columns = ["export", "seconds", "MB", "features it should hold", "found", "by"]
    return Table("Exports", columns, rows)


def _backdrops(out: Path, folder: Path, told: dict[str, object]) -> Table:
    rows = []
    for kind, source in BACKDROP_SOURCES.items():
        made, start = folder / kind, time.perf_counter()
        turned = made / "turned.tif"
        backdrop(kind=kind, source=out / source, out=made / "upright.tif", turned_out=turned, **told)  # type: ignore[arg-type]
        seconds = time.perf_counter() - start
        with rasterio.open(made / "turned.png") as picture:
            size = f"{picture.width} x {picture.height}"
        n_bytes = sum(path.stat().st_size for path in made.iterdir())
        rows.append([kind, f"{seconds:.2f}", f"{n_bytes / 1e6:.2f}", size])
    return Table("Backdrops, upright and turned, GeoTIFF and PNG", ["backdrop", "seconds", "MB", "cells, turned"], rows)


# ---------------------------------------------------------------- readers that did not write


def _all_layers(path: Path) -> int:
    return sum(pyogrio.read_info(path, layer=name)["features"] for name in pyogrio.list_layers(path)[:, 0])


def _styled(path: Path) -> int:
    """Without the table of styles."""
    return _all_layers(path) - pyogrio.read_info(path, layer="layer_styles")["features"]


def _dxf(path: Path) -> int:
    """Points, lines and hatches, without the rings that outline a hatch."""
    found = pyogrio.read_dataframe(path, layer="entities")
    hatched = found.geom_type == "Polygon"
    outlines = set(found.loc[hatched, "Layer"].str.removesuffix("_fill"))
    return len(found) - int((found["Layer"].isin(outlines) & (found.geom_type == "LineString")).sum())


def _shapefiles(path: Path) -> int:
    with zipfile.ZipFile(path) as archive, tempfile.TemporaryDirectory() as folder:
        archive.extractall(folder)
        found = 0
        for file in Path(folder).glob("*.shp"):
            with pyshp.Reader(file) as reader:
                found += len(reader)
    return found


def _gpx(path: Path) -> int:
    parsed = gpxpy.parse(path.read_text(encoding="utf-8"))
    return len(parsed.waypoints) + len(parsed.tracks)


def _mbtiles(path: Path) -> int:
    with rasterio.open(path) as source, sqlite3.connect(path) as base:
        return int(base.execute("SELECT count(*) FROM tiles").fetchone()[0]) if source.count == 4 else 0


READERS: dict[str, tuple[str, Callable[[Path], int]]] = {
    "styled": ("GDAL", _styled),
    "geojson": ("GDAL", _all_layers),
    "dxf": ("GDAL", _dxf),
    "shapefile": ("pyshp", _shapefiles),
    "gpx": ("gpxpy", _gpx),
    "kmz": ("GDAL", _all_layers),
    "mbtiles": ("GDAL and SQLite", _mbtiles),
    "pmtiles": ("pmtiles' own reader", lambda path: sum(1 for _ in all_tiles(MemorySource(path.read_bytes())))),
}
"""Export -> a library that did not write it, but for PMTiles, and how many features or tiles it finds."""


if __name__ == "__main__":
    for table in compared(Path(sys.argv[1])):
        print("\n".join(table.as_markdown()))
