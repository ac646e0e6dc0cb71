"""Files that come home from a walk: GPX, an edited GeoPackage, marks of the page, the check list, photos."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError
from shapely.geometry import LineString, Point

from pipeline.errors import InputError
from pipeline.fieldwork.questions.columns import COLUMNS
from pipeline.files.found import photos
from pipeline.files.found.listed import read_listed
from pipeline.marks.walk import Spot, Walk
from pipeline.marks.words import said_in

DEGREES = "EPSG:4326"
"""Of GPX, GeoJSON (RFC 7946) and photos."""
PARKING, PLANNED = r"P\d*", r"Way \d+"
"""Names of waypoints and tracks that `check_points.gpx` comes with."""
WORD_COLUMNS = ("found", "mark", "status", "verdict", "result", "ok")
"""Names under which the column that a mapper adds to the check list is looked for first."""


def read_walk(path: Path, crs: str, /) -> Walk:
    """What a file holds.

    Raises
    ------
    InputError
        If the file is missing, is of no kind that can be read, or is broken.
    """
    if not path.is_file():
        raise InputError(f"{path}: there is no such file")
    reader = READERS.get(path.suffix.lower())
    if reader is None:
        raise InputError(f"{path}: marks are read from {', '.join(READERS)}")
    return reader(path, crs)


# ---------------------------------------------------------------- GPX


def _gpx(path: Path, crs: str) -> Walk:
    """Waypoints as spots, tracks as tracks; routes are plans and no walks.

    `sym` is the icon that a device draws, such as "Forest" for any point, and no word of the mapper's.
    """
    points, tracks = _layer(path, "waypoints"), _walked(path)
    points = points[~points["name"].astype(str).str.fullmatch(PARKING)] if "name" in points else points
    lines = list(shapely.get_parts(tracks.to_crs(crs).geometry.to_numpy())) if len(tracks) else []
    return Walk(
        source=path.name,
        spots=_spots(points, crs, ("name", "cmt", "desc")),
        tracks=[line for line in lines if isinstance(line, LineString) and line.length > 0],
    )


def _walked(path: Path) -> gpd.GeoDataFrame:
    """Tracks that somebody walked. Those of `check_points.gpx` are called "Way 1" and have no times: they are plans."""
    tracks = _layer(path, "tracks")
    if "name" not in tracks or not len(tracks):
        return tracks
    points = _layer(path, "track_points")
    timed = set(points["track_fid"][points["time"].notna()]) if "time" in points else set()
    is_plan = tracks["name"].astype(str).str.fullmatch(PLANNED) & ~pd.Series(tracks.index.isin(timed), tracks.index)
    return tracks[~is_plan]


def _layer(path: Path, name: str) -> gpd.GeoDataFrame:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # GDAL says of some devices' own elements that it skips them
            return gpd.read_file(path, layer=name)
    except (DataLayerError, DataSourceError, OSError) as error:
        raise InputError(f"{path}: cannot be read as GPX ({error})") from error


def _spots(table: gpd.GeoDataFrame, crs: str, columns: Sequence[str]) -> list[Spot]:
    """One spot a row with a place; `columns` hold its texts, and id, status, symbol, note what they are called."""
    placed = table[table.geometry.notna() & ~table.geometry.is_empty]
    if placed.empty:
        return []
    shapes = placed.to_crs(crs).geometry
    return [
        Spot(
            texts=tuple(text for text in (_text(row, name) for name in columns) if text),
            place=Point(shape.centroid.x, shape.centroid.y),
            at=_time(row),
            id=_text(row, "id"),
            status=_text(row, "status"),
            symbol=_text(row, "symbol"),
            note=_text(row, "note"),
        )
        for (_, row), shape in zip(placed.iterrows(), shapes, strict=True)
    ]


def _text(row: pd.Series, name: str) -> str:
    value = row.get(name)
    return "" if value is None or value is pd.NaT or value != value else str(value).strip()


def _time(row: pd.Series) -> str:
    value = row.get("at") if row.get("at") is not None else row.get("time")
    if value is None or value is pd.NaT or value != value:
        return ""
    try:
        return str(pd.Timestamp(str(value)).tz_localize(None).isoformat(timespec="seconds"))
    except (ValueError, TypeError):
        return ""


# ---------------------------------------------------------------- GeoPackage, GeoJSON


def read_layers(path: Path, /) -> dict[str, gpd.GeoDataFrame]:
    """All layers of a GeoPackage that have a geometry.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    try:
        kinds = pyogrio.list_layers(path)
        found = {str(name): gpd.read_file(path, layer=name) for name, kind in kinds if kind is not None}
    except (DataLayerError, DataSourceError, OSError) as error:
        raise InputError(f"{path}: cannot be read ({error})") from error
    return {name: table for name, table in found.items() if isinstance(table, gpd.GeoDataFrame)}


def _gpkg(path: Path, crs: str) -> Walk:
    """An edited copy of the draft where its layers have `id` and `symbol`, else points with words."""
    tables = read_layers(path)
    without = [name for name, table in tables.items() if table.crs is None and len(table)]
    if without:
        raise InputError(f"{path}: layer {without[0]} does not say its coordinate system; save it with one")
    is_draft = any({"id", "symbol"} <= set(table.columns) for table in tables.values())
    if not is_draft:
        spots = [spot for table in tables.values() for spot in _spots(table, crs, ("name", "found", "note"))]
        return Walk(source=path.name, spots=spots)
    exact = all(table.crs == crs for table in tables.values() if len(table))
    moved = {
        name: table if table.crs is None or table.crs == crs else table.to_crs(crs) for name, table in tables.items()
    }
    return Walk(source=path.name, edited=moved, is_exact=exact)


def _geojson(path: Path, crs: str) -> Walk:
    """Marks of the page, or any points with names."""
    try:
        table = gpd.read_file(path)
    except (DataLayerError, DataSourceError, OSError) as error:
        raise InputError(f"{path}: cannot be read as GeoJSON ({error})") from error
    return Walk(source=path.name, spots=_spots(table, crs, ("name", "found", "note")))


# ---------------------------------------------------------------- check list, photos


def _csv(path: Path, crs: str) -> Walk:
    """The check list with a column that a mapper added: a word in a row is a mark on its place."""
    del crs  # its places are in metres of the working CRS
    table = read_listed(path)
    added = [name for name in table.columns if name not in COLUMNS]
    word = next((name for name in WORD_COLUMNS if name in added), None) or next(
        (name for name in added if any(said_in(str(text)).status for text in table[name])), None
    )
    if word is None:
        raise InputError(
            f"{path}: no column says what was found; add one called 'found' with ok, no, moved or a symbol number"
        )
    rest = [name for name in added if name != word]
    rows = table[table[word].astype(str) != ""]
    spots = [
        Spot(
            texts=(f"{row['name']} {row[word]}", *(str(row[name]) for name in rest if row[name])),
            place=Point(row["east_m"], row["north_m"]),
            id=str(row["id"]),
        )
        for _, row in rows.iterrows()
    ]
    return Walk(source=path.name, spots=spots)


def _photo(path: Path, crs: str) -> Walk:
    place, at, texts = photos.read_photo(path)
    if place is None:
        said = f"{path.name} does not say where it was taken"
        return Walk(source=path.name, warnings=[said])
    moved = gpd.GeoSeries([Point(place)], crs=DEGREES).to_crs(crs).iloc[0]
    return Walk(source=path.name, spots=[Spot(texts, moved, at, is_photo=True)])


READERS: dict[str, Callable[[Path, str], Walk]] = {
    ".gpx": _gpx,
    ".gpkg": _gpkg,
    ".geojson": _geojson,
    ".json": _geojson,
    ".csv": _csv,
    **dict.fromkeys(photos.ENDINGS, _photo),
}
"""Ending of a file -> what reads it."""
