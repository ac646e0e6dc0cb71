"""The mapper's notes from the forest: GeoPackage, GeoJSON, Shapefile, CSV or GPX."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd
from pyogrio.errors import DataSourceError

from pipeline.errors import InputError

FOUND_COLUMNS = ("symbol", "band", "found", "name", "desc", "cmt", "sym")
"""Columns a note may name the symbol in; the first that is there counts. GPX has the last four (Topografix GPX 1.1)."""
PLACE_COLUMNS = (("east", "north"), ("lon", "lat"))
"""Columns a CSV may give the place in: metres of the working CRS, or degrees (WGS 84)."""


def read_notes(path: Path, crs: str, /) -> gpd.GeoDataFrame:
    """Places and what was found there: geometry in the working CRS and `symbol` as text, rows without either left out.

    Raises
    ------
    InputError
        If the file is missing or cannot be read, does not say where or what, or holds no note that can be used.
    """
    if not path.exists():
        raise InputError(f"{path}: there is no such file of notes")
    table = _from_csv(path, crs) if path.suffix.lower() == ".csv" else _from_layers(path)
    table.columns = [str(column).lower() if column != table.geometry.name else column for column in table.columns]
    column = next((name for name in FOUND_COLUMNS if name in table.columns and table[name].notna().any()), None)
    if column is None:
        raise InputError(
            f"{path}: says nowhere what was found; put the symbol (405, 406, 408, 410, ...) into a column 'symbol', "
            "or in GPX into the name of the waypoint"
        )
    notes = gpd.GeoDataFrame({"symbol": _numbers(table[column])}, geometry=table.geometry.to_numpy(), crs=table.crs)
    notes = notes[notes["symbol"].notna() & notes.geometry.notna() & ~notes.geometry.is_empty]
    if notes.empty:
        raise InputError(f"{path}: holds no note with a place and a symbol number such as 406")
    if notes.crs is None:
        raise InputError(f"{path}: does not say its coordinate system; save it with one")
    return notes.to_crs(crs).reset_index(drop=True)


def _numbers(found: pd.Series) -> pd.Series:
    """The symbol number in each text (`408`, `408 thick beech`, `ISOM 408`), NaN without one."""
    return found.astype("string").str.extract(r"\b(\d{3}(?:\.\d)?)\b", expand=False)


def _from_layers(path: Path) -> gpd.GeoDataFrame:
    """All layers of a file that have rows."""
    try:
        names = list(gpd.list_layers(path)["name"])
        tables = [gpd.read_file(path, layer=name) for name in names]
    except (DataSourceError, OSError) as error:
        raise InputError(f"{path}: cannot be read as notes ({error})") from error
    filled = [table for table in tables if len(table)]
    if not filled:
        raise InputError(f"{path}: holds no notes")
    return gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), crs=filled[0].crs)


def _from_csv(path: Path, crs: str) -> gpd.GeoDataFrame:
    """Notes of a table with columns east, north or lon, lat."""
    try:
        table = pd.read_csv(path, sep=None, engine="python", dtype={"symbol": "string", "band": "string"})
    except (OSError, UnicodeDecodeError, ValueError) as error:
        raise InputError(f"{path}: cannot be read as a table ({error})") from error
    table.columns = [str(column).strip().lower() for column in table.columns]
    for (x, y), its_crs in zip(PLACE_COLUMNS, (crs, "EPSG:4326"), strict=True):
        if {x, y} <= set(table.columns):
            places = gpd.points_from_xy(table[x], table[y])
            return gpd.GeoDataFrame(table, geometry=places, crs=its_crs)
    raise InputError(f"{path}: needs the columns east and north (metres), or lon and lat (degrees)")
