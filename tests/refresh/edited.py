"""Made drafts of an area, surveyed again and again with other tiles, and a mapper's edits in the first of them."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiLineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.draft.compose import COLUMNS, LAYERS
from pipeline.draft.identity import stable_ids
from pipeline.files.layers import write_layers
from pipeline.norm.symbols import norm_table

CRS = "EPSG:25832"
EAST, NORTH, SIDE_M = 565500.0, 5712000.0, 600.0
ORIGIN = np.array([EAST, NORTH])
FEW = ("rock_point", "manmade_line")
Layers = dict[str, gpd.GeoDataFrame]


def true_features(seed: int, n: int = 170) -> gpd.GeoDataFrame:
    """What lies on the ground: boulders, knolls and pits, paths, walls and streams, houses and thickets."""
    random = np.random.default_rng(seed)
    rows: list[tuple[str, BaseGeometry]] = []
    for number, (east, north) in enumerate(random.uniform(20, SIDE_M - 20, (n, 2)) + ORIGIN):
        rows.append((("204", "109", "111", "205", "112")[number % 5], Point(east, north)))
    for number in range(n // 4):
        at = random.uniform(20, SIDE_M - 20, 2) + ORIGIN
        steps = np.cumsum(random.normal(8, 6, (12, 2)), axis=0)
        rows.append((("505", "513", "505", "101", "104")[number % 5], LineString(at + steps)))
    for number in range(n // 4):
        east, north = random.uniform(20, SIDE_M - 20, 2) + ORIGIN
        rows.append((("408", "410", "401", "406")[number % 4], shapely.box(east, north, east + 13.3, north + 11.7)))
    return gpd.GeoDataFrame({"symbol": [row[0] for row in rows]}, geometry=[row[1] for row in rows], crs=CRS)


def surveyed(truth: gpd.GeoDataFrame, seed: int, *, tile_m: float) -> Layers:
    """A draft of what lies there: each thing a little off, some not found, lines cut at the borders of tiles."""
    random = np.random.default_rng(seed)
    found = truth[random.random(len(truth)) < 0.9].reset_index(drop=True)
    moved = [shapely.transform(g, lambda p: p + random.normal(0, 0.3, 2)) for g in found.geometry]
    cuts = [EAST + tile_m * k for k in range(int(SIDE_M / tile_m) + 2)]
    tiles = [shapely.box(west, NORTH - 99, west + tile_m, NORTH + SIDE_M + 99) for west in cuts]
    rows = [
        (symbol, part)
        for symbol, shape in zip(found["symbol"], moved, strict=True)
        for part in (_pieces(shape, tiles) if shape.geom_type == "LineString" else [shape])
    ]
    return draft_of(rows)


def _pieces(line: BaseGeometry, tiles: list[Polygon]) -> list[BaseGeometry]:
    parts = [part for tile in tiles for part in shapely.get_parts(line.intersection(tile))]
    return [part for part in parts if part.geom_type == "LineString" and part.length > 0]


def draft_of(rows: list[tuple[str, BaseGeometry]]) -> Layers:
    """Features in the layers of a draft, with its columns."""
    table = pd.DataFrame({"symbol": [row[0] for row in rows]})
    table["name"] = [norm_table().name_of(symbol) for symbol in table["symbol"]]
    table = table.assign(confidence=0.8, evidence="1.6 m high", status="draft", origin="lidar")
    table = table.assign(elevation_m=np.where(table["symbol"] == "101", 305.0, np.nan), height_m=1.25, width_m=np.nan)
    features = gpd.GeoDataFrame(table.assign(angle_deg=0.0), geometry=[row[1] for row in rows], crs=CRS)
    features["id"] = stable_ids(features)
    layer = [norm_table().layer_of(s, g) for s, g in zip(features["symbol"], features.geometry, strict=True)]
    columns = [*COLUMNS, "geometry"]
    return {n: features[np.array(layer) == n][columns].reset_index(drop=True) for n in LAYERS if n in FEW or n in layer}


def write_draft(folder: Path, layers: Layers) -> Path:
    """A folder of a run with nothing but its draft."""
    folder.mkdir(parents=True)
    write_layers(folder / "draft.gpkg", layers)
    return folder


def edit(layers: Layers, n: int, seed: int) -> tuple[Layers, gpd.GeoDataFrame]:
    """The draft with n edits of a mapper's in it, of every kind; and the edited rows, with their `layer`."""
    random = np.random.default_rng(seed)
    tables = {name: table.copy() for name, table in layers.items()}
    places = [(name, row) for name, table in tables.items() for row in range(len(table))]
    chosen = [places[k] for k in random.permutation(len(places))[: n - 10]]
    for table in tables.values():
        table["note"] = None
        table["visits"] = pd.array([None] * len(table), dtype="Int64")
    for number, (name, row) in enumerate(chosen):
        table = tables[name]
        status = ("confirmed", "moved", "rejected")[number % 3]
        table.loc[row, "status"] = status
        if status == "moved":
            step = random.normal(0, 15, 2)
            table.loc[[row], "geometry"] = [shifted(table.geometry[row], step)]
        if number % 4 == 0:
            table.loc[row, "note"] = f"größer, {number}"
            table.loc[row, "visits"] = number
        if number % 7 == 0 and name == "rock_point":
            table.loc[row, "symbol"] = "207"
    added = _added(random)
    added_to = tables["manmade_line"]
    tables["manmade_line"] = _with_rows(added_to, added)
    keys = {(name, row) for name, row in chosen}
    keys |= {("manmade_line", len(layers["manmade_line"]) + k) for k in range(len(added))}
    rows = [tables[name].iloc[[row]].assign(layer=name) for name, row in sorted(keys)]
    return tables, gpd.GeoDataFrame(pd.concat(rows, ignore_index=True), geometry="geometry", crs=added_to.crs)


def shifted(shape: BaseGeometry, step: NDArray[np.float64]) -> BaseGeometry:
    """A shape somewhere else."""
    return shapely.transform(shape, lambda places: places + step)


def _added(random: np.random.Generator) -> list[BaseGeometry]:
    """Ten lines that a mapper drew: with heights, of several parts, crossing themselves."""
    shapes: list[BaseGeometry] = []
    for number in range(10):
        line = random.uniform(0, SIDE_M, (4, 3)) + np.array([EAST, NORTH, 300])
        if number % 3 == 0:
            shapes.append(LineString(line))
        elif number % 3 == 1:
            shapes.append(MultiLineString([LineString(line[:2, :2]), LineString(line[2:, :2])]))
        else:
            shapes.append(LineString([*line[:, :2], line[0, :2]]))
    return shapes


def _with_rows(table: gpd.GeoDataFrame, shapes: list[BaseGeometry]) -> gpd.GeoDataFrame:
    """Rows as a GIS adds them: a symbol and a status, nothing else."""
    columns = {"symbol": ["505"] * len(shapes), "status": ["confirmed"] * len(shapes)}
    more = gpd.GeoDataFrame(columns, geometry=shapes, crs=table.crs)
    return gpd.GeoDataFrame(pd.concat([table, more], ignore_index=True), geometry="geometry", crs=table.crs)


def overwrite(path: Path, layers: Layers) -> None:
    """The file as a GIS saves it."""
    path.unlink()
    for name, table in layers.items():
        pyogrio.write_dataframe(
            table,
            path,
            layer=name,
            driver="GPKG",
            append=path.exists(),
            geometry_type="Unknown",
            promote_to_multi=False,
        )


def lost(rows: gpd.GeoDataFrame, path: Path) -> list[str]:
    """Edited rows that a map does not hold bit for bit: the same bytes of geometry, every value the same."""
    held: dict[tuple[str, bytes], list[dict[str, object]]] = {}
    for name in {str(name) for name in rows["layer"]}:
        table = gpd.read_file(path, layer=name)
        for shape, row in zip(shapely.to_wkb(table.geometry.to_numpy()), table.to_dict("records"), strict=True):
            held.setdefault((name, shape), []).append(row)
    names = [name for name in rows.columns if name not in ("geometry", "layer")]
    gone = []
    for shape, row in zip(shapely.to_wkb(rows.geometry.to_numpy()), rows.to_dict("records"), strict=True):
        same = [
            other
            for other in held.get((str(row["layer"]), shape), [])
            if all(_equal(row[name], other.get(name)) for name in names)
        ]
        if len(same) != 1:
            gone.append(f"{row['id']} {row['symbol']} {row['status']}: {len(same)} times")
    return gone


def _equal(one: object, other: object) -> bool:
    missing = [value is None or value is pd.NA or value != value for value in (one, other)]
    return all(missing) or (not any(missing) and one == other)
