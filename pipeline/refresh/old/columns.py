"""The columns of a draft for features of any map, beside the map's own."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from pipeline.norm.symbols import SymbolTable
from pipeline.refresh.old.numbers import Numbered, text_of
from pipeline.refresh.old.old_map import DRAFT_COLUMNS, NUMBERS, GivenLayer, Kind
from pipeline.refresh.old.shapes import layer_names

OWN = "own_"
"""What the name of a map's column begins with where it means something else than the draft's column of that name."""
NUMBER, KEY = "_number", "_key"
"""Columns of our own: the ISOM number whatever `symbol` says, and a name for each feature, with an id or without."""
TAKEN = ("layer", "row", "is_kept", "fid", "ogc_fid", "geom", "geometry", NUMBER, KEY)
"""Names that a GeoPackage and the comparison need for themselves."""
STATUSES = ("draft", "candidate", "imported", "confirmed", "moved", "rejected", "new")
HEIGHTS = ("elevation_m", "elevation", "elev", "ele", "contour", "height_above_sea", "level")
"""Columns in which maps hold the elevation of a contour, in metres (common practice, no source)."""


def filled_columns(
    layer: GivenLayer, read: Numbered, symbols: SymbolTable, source: Path, kind: Kind, /
) -> gpd.GeoDataFrame:
    """A layer's rows with the columns of a draft and `layer`; every value of the map stands in a column of its own.

    A column of the map that a draft has too stays where it says what the draft says, else it is called `own_...`.
    """
    table = layer.table.reset_index(drop=True)
    if table.geometry.name != "geometry":
        table = table.rename_geometry("geometry") if "geometry" not in table else table
    shapes = table.geometry.to_numpy()
    names = {str(name): _kept_name(str(name), table, read, kind) for name in table.columns if name != "geometry"}
    columns: dict[str, object] = {new: table[old] for old, new in names.items()}
    numbers = read.numbers
    made: dict[str, object] = {
        "id": _ids_as_text(table),
        "symbol": numbers,
        "name": [symbols.name_of(n) if n and n in symbols else None for n in numbers],
        "confidence": 1.0,
        "evidence": f"on the map {source.name}",
        "status": "confirmed",
        "origin": source.name,
    }
    lower = {str(name).casefold() for name in columns}
    for name in DRAFT_COLUMNS:
        if name not in lower:
            columns[name] = made.get(name, np.nan)
    if "elevation_m" not in lower:
        columns["elevation_m"] = _elevations(table)
    placed = layer_names(numbers, shapes, symbols)
    columns["layer"] = _layer_of_run(layer) or placed if kind == "run" else placed
    columns[NUMBER] = numbers
    found = _with_missing(pd.DataFrame(columns, index=table.index))
    own = [name for name in found.columns if name not in DRAFT_COLUMNS]
    return gpd.GeoDataFrame(found[[*DRAFT_COLUMNS, *own]], geometry=list(shapes), crs=table.crs)


def _layer_of_run(layer: GivenLayer) -> str:
    """A draft's rows stay in the layer they are in; those of one table of all features go where they belong."""
    return layer.name if layer.name.endswith(("_point", "_line", "_area")) else ""


def _with_missing(table: pd.DataFrame) -> pd.DataFrame:
    """Whole numbers and yes-or-no in types that know missing values, or they would come out of a join as others."""
    whole = {
        name: str(kind).replace("uint", "UInt").replace("int", "Int")
        for name, kind in table.dtypes.items()
        if str(kind).startswith(("int", "uint"))
    }
    said = {name: "boolean" for name, kind in table.dtypes.items() if str(kind) == "bool"}
    return table.astype({**whole, **said})


def _ids_as_text(table: gpd.GeoDataFrame) -> list[str | None] | None:
    """The map's own ids where each row has another one."""
    if "id" not in table:
        return None
    texts = [text_of(value) or None for value in table["id"]]
    return texts if len(set(texts)) == len(texts) and None not in texts else None


def _kept_name(name: str, table: gpd.GeoDataFrame, read: Numbered, kind: Kind) -> str:
    """The name of a map's column in the refreshed map."""
    plain = name.casefold()
    if plain in TAKEN or (name != plain and plain in DRAFT_COLUMNS):
        return OWN + name
    if name not in DRAFT_COLUMNS or kind == "run":
        return name
    return name if _says_what_a_draft_says(name, table[name], read) else OWN + name


def _says_what_a_draft_says(name: str, values: pd.Series, read: Numbered) -> bool:
    if name in NUMBERS:
        is_number = pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values)
        return is_number and (name != "confidence" or bool(values.dropna().between(0, 1).all()))
    texts = [value for value in values if isinstance(value, str)]
    if name == "symbol":
        return len(texts) == len(values) and texts == list(read.numbers)
    if name == "id":
        return len(texts) == len(values) and len(set(texts)) == len(texts) and all(texts)
    if name == "status":
        return len(texts) == len(values) and set(texts) <= set(STATUSES)
    return all(isinstance(value, str) or text_of(value) == "" for value in values)


def _elevations(table: gpd.GeoDataFrame) -> pd.Series:
    """Elevations from the column that may hold them; NaN without one."""
    for wanted in HEIGHTS:
        for name in table.columns:
            if str(name).casefold() == wanted and pd.api.types.is_numeric_dtype(table[name]):
                return pd.Series(table[name], dtype=np.float64)
    return pd.Series(np.nan, index=table.index)
