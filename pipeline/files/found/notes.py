"""The mapper's notes on runnability: GeoPackage, GeoJSON, Shapefile, CSV or GPX."""

from __future__ import annotations

import re
from collections.abc import Collection
from pathlib import Path

import geopandas as gpd
import pandas as pd
from pyogrio.errors import DataSourceError

from pipeline.errors import InputError
from pipeline.fieldwork.questions.columns import COLUMNS
from pipeline.files.found.tables import numbers_of, read_table

FOUND_COLUMNS = ("found", "symbol", "band", "isom", "name", "desc", "cmt", "sym")
"""Columns a note may name the symbol in; in each row the first that does counts. GPX has the last four but the first
(Topografix GPX 1.1)."""
METRE_COLUMNS = (
    *(("east", "north"), ("east_m", "north_m"), ("easting", "northing"), ("e", "n"), ("x", "y"), ("x_m", "y_m")),
    ("xcoord", "ycoord"),
)
"""Columns a table may give the place in, metres of the working CRS."""
DEGREE_COLUMNS = (
    *(("lon", "lat"), ("longitude", "latitude"), ("longitude_deg", "latitude_deg"), ("lng", "lat"), ("long", "lat")),
    ("lon_deg", "lat_deg"),
)
"""The same in degrees (WGS 84)."""
DEGREES = "EPSG:4326"
OWN_LIST = ("rank", "look_at")
"""Columns by which a list of Tussock's own is known: there the mapper's answer is in a column that was added."""
_NUMBER = re.compile(r"(?<![\d.,])(\d{3}(?:\.\d)?)(?!\d)")


def read_notes(path: Path, crs: str, bands: Collection[str] = (), /) -> gpd.GeoDataFrame:
    """Places and what was found there: geometry in the working CRS and `symbol` as text, rows without either left out.

    Parameters
    ----------
    bands : symbols that notes are about: a text such as "017 ran like 406" means 406, and "405 or 406?" is a question

    Raises
    ------
    InputError
        If the file is missing or cannot be read, does not say where or what, or holds no note that can be used.
    """
    if not path.exists():
        raise InputError(f"{path}: there is no such file of notes")
    table = _from_table(path, crs) if path.suffix.lower() in (".csv", ".txt", ".tsv") else _from_layers(path)
    table.columns = [str(column).lower() if column != table.geometry.name else column for column in table.columns]
    columns = _columns_of_answers(table, path)
    symbols = [_answer([row.get(name) for name in columns], bands) for _, row in table.iterrows()]
    notes = gpd.GeoDataFrame({"symbol": symbols}, geometry=table.geometry.to_numpy(), crs=table.crs)
    notes = notes[notes["symbol"].notna() & notes.geometry.notna() & ~notes.geometry.is_empty]
    if notes.empty:
        raise InputError(f"{path}: holds no note with a place and a symbol number such as 406")
    if notes.crs is None:
        raise InputError(f"{path}: does not say its coordinate system; save it with one")
    return notes.to_crs(crs).reset_index(drop=True)


def _columns_of_answers(table: gpd.GeoDataFrame, path: Path) -> list[str]:
    """Columns that may name what was found. A list of Tussock's own asks in all columns but those that were added."""
    is_own = set(OWN_LIST) <= set(table.columns)
    names = [str(name) for name in table.columns if name != table.geometry.name]
    added = [name for name in names if name not in COLUMNS]
    columns = added if is_own else [name for name in FOUND_COLUMNS if name in names]
    if not any(table[name].notna().any() for name in columns):
        raise InputError(
            f"{path}: says nowhere what was found; put the symbol (405, 406, 408, 410, ...) into a column "
            f"'{'found' if is_own else 'symbol'}', or in GPX into the name of the waypoint"
        )
    return columns


def _answer(texts: list[object], bands: Collection[str]) -> str | None:
    """The symbol number of the first text that has one, `408` in "408 thick beech"; None for none, or for a question.

    Where a text has numbers of the bands, other numbers in it, such as the name of a listed place, are none.
    """
    for text in texts:
        numbers = list(dict.fromkeys(_NUMBER.findall("" if text is None or text != text else str(text))))
        meant = [number for number in numbers if number.partition(".")[0] in bands]
        if len(meant) > 1:
            return None
        if meant or (numbers and not bands):
            return str((meant or numbers)[0])
        if numbers and len(texts) == 1:
            return str(numbers[0])
    return None


def _from_layers(path: Path) -> gpd.GeoDataFrame:
    """All layers of a file that have rows."""
    try:
        names = list(gpd.list_layers(path)["name"])
        tables = [gpd.read_file(path, layer=name) for name in names if name not in ("tracks", "track_points")]
    except (DataSourceError, OSError) as error:
        raise InputError(f"{path}: cannot be read as notes ({error})") from error
    filled = [table for table in tables if isinstance(table, gpd.GeoDataFrame) and len(table)]
    if not filled:
        raise InputError(f"{path}: holds no notes")
    first = filled[0].crs
    same = [
        table if table.crs == first or table.crs is None or first is None else table.to_crs(first) for table in filled
    ]
    return gpd.GeoDataFrame(pd.concat(same, ignore_index=True), crs=first)


def _from_table(path: Path, crs: str) -> gpd.GeoDataFrame:
    """Notes of a table that gives places in metres or in degrees; columns x and y may hold either."""
    table = read_table(path)
    for pairs, its_crs in ((METRE_COLUMNS, crs), (DEGREE_COLUMNS, DEGREES)):
        for x, y in pairs:
            if {x, y} <= set(table.columns):
                east, north = numbers_of(table[x]), numbers_of(table[y])
                if x in ("x", "xcoord") and _are_degrees(east, north):
                    its_crs = DEGREES
                places = gpd.points_from_xy(east, north)
                has_place = (east.notna() & north.notna()).to_numpy()
                filled = table.mask(table == "")
                return gpd.GeoDataFrame(filled[has_place], geometry=places[has_place], crs=its_crs)
    raise InputError(
        f"{path}: says nowhere where; it needs two columns, east and north (or easting and northing, x and y) "
        f"in metres of {crs}, or lon and lat (or longitude and latitude) in degrees. It has "
        f"{', '.join(table.columns[:8])}"
    )


def _are_degrees(east: pd.Series, north: pd.Series) -> bool:
    return bool(len(east.dropna()) and east.abs().max() <= 180 and north.abs().max() <= 90)
