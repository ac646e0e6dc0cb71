"""The draft for the Shapefile format: short column names, and a legend that says what each stands for.

The format allows ten letters for a column's name and 254 bytes for a text (ESRI Shapefile Technical Description, 1998,
and dBASE III, which it uses).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

import geopandas as gpd
import pandas as pd

from pipeline.exports.told import Told
from pipeline.norm.symbols import SymbolTable

LONGEST_TEXT_BYTES = 254
COLUMNS = {
    "id": ("id", "stays with a feature when the area is drafted again"),
    "symbol": ("symbol", "number of the ISOM 2017-2"),
    "name": ("name", "the standard's name of the symbol"),
    "confidence": ("confid", "0 to 1: how likely a mapper who walks there would draw the same thing"),
    "evidence": ("evidence", "why it was drawn; cut off after 254 bytes, whole in draft.gpkg"),
    "status": ("status", "draft: on the map; candidate: proposed, not on the map; rejected: found wrong"),
    "origin": ("origin", "lidar, or the map it was borrowed from"),
    "elevation_m": ("elev_m", "elevation of a contour, metres"),
    "height_m": ("height_m", "height of the thing, metres"),
    "width_m": ("width_m", "width of the thing, metres"),
    "angle_deg": ("angle_deg", "direction, degrees clockwise from magnetic north"),
}
"""Column of the draft -> its name in the Shapefile, and what it holds."""


def shapefile_tables(layers: Mapping[str, gpd.GeoDataFrame], /) -> dict[str, gpd.GeoDataFrame]:
    """The layers, already one kind of geometry each, with columns that the format can hold.

    Raises
    ------
    KeyError
        If a layer has a column without a short name.
    """
    return {name: _short(table) for name, table in layers.items()}


def _short(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    named = table.rename(columns={name: COLUMNS[name][0] for name in table.columns.drop(table.geometry.name)})
    for column in named.columns.drop(named.geometry.name):
        if not pd.api.types.is_numeric_dtype(named[column]):
            named[column] = named[column].map(_cut, na_action="ignore")
    return named


def _cut(text: str) -> str:
    """A text of at most 254 bytes, cut between letters."""
    return text.encode()[:LONGEST_TEXT_BYTES].decode(errors="ignore")


def legend_text(layers: Mapping[str, gpd.GeoDataFrame], /, *, symbols: SymbolTable, told: Told) -> str:
    """What the columns and the symbol numbers stand for and what is to be told, as CSV."""
    target = io.StringIO()
    rows = csv.writer(target, lineterminator="\n")
    rows.writerow(("what", "name", "stands for"))
    rows.writerows(("about", key.lower(), text) for key, text in told.entries.items())
    columns = dict.fromkeys(str(name) for table in layers.values() for name in table.columns.drop(table.geometry.name))
    rows.writerows(("column", COLUMNS[name][0], f"{name}: {COLUMNS[name][1]}") for name in columns)
    numbers = sorted({str(number) for table in layers.values() for number in table["symbol"]})
    rows.writerows(("symbol", number, symbols[number].name) for number in numbers)
    return target.getvalue()
