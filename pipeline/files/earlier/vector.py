"""Layers of an earlier map read as they are: GeoPackage, GeoJSON, shapefile, DXF."""

from __future__ import annotations

import json
import warnings
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError

from pipeline.errors import InputError
from pipeline.files.earlier.drawing import read_drawing
from pipeline.refresh.old.old_map import GivenLayer

ENDINGS = (".gpkg", ".geojson", ".json", ".shp", ".dxf")
"""Files that are read as maps."""
MOST_NAMED = 8
"""So many files of a folder are named in a message."""
LARGEST_DEGREE = 360.0
NULLABLE = {f"{sign}int{bits}": f"{sign.upper()}Int{bits}" for sign in ("", "u") for bits in (8, 16, 32, 64)}
"""Types of whole numbers -> those that know missing values."""


def read_given(path: Path, /) -> list[GivenLayer]:
    """All layers of a file with a geometry, or of all shapefiles of a folder.

    Raises
    ------
    InputError
        If there is nothing of the kind, or it cannot be read.
    """
    if not path.exists():
        raise InputError(f"{path}: there is no such file or folder; name the earlier run or the map")
    files = _files_of(path)
    return [layer for file in files for layer in _read_file(file)]


def _files_of(path: Path) -> list[Path]:
    if path.is_file():
        if path.suffix.lower() not in ENDINGS:
            raise InputError(
                f"{path}: is no map that can be read; save it from your drawing program as GeoPackage, GeoJSON, "
                "shapefile or DXF, with the symbol numbers in a column or as names of layers"
            )
        return [path]
    found = sorted(file for file in path.iterdir() if file.suffix.lower() in ENDINGS)
    # Where there is anything else, a file of JSON is seldom a map.
    maps = [file for file in found if file.suffix.lower() != ".json"] or found
    if not maps:
        raise InputError(
            f"{path}: holds neither a draft (draft.gpkg) nor a map; name the folder that 'out:' named in the earlier "
            "run, or a GeoPackage, GeoJSON, shapefile or DXF"
        )
    kinds = {file.suffix.lower() for file in maps}
    if len(kinds) > 1 or (kinds == {".gpkg"} and len(maps) > 1):
        names = ", ".join(file.name for file in maps[:MOST_NAMED]) + (" ..." if len(maps) > MOST_NAMED else "")
        raise InputError(f"{path}: holds several maps ({names}); name the one that you mean")
    return maps


def _read_file(path: Path) -> list[GivenLayer]:
    if path.suffix.lower() == ".dxf":
        return [read_drawing(path)]
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # GDAL tells of geometries that are mended for comparing
            names = [str(name) for name, kind in pyogrio.list_layers(path) if kind is not None]
            return [layer for name in names if (layer := _read_layer(path, name)) is not None]
    except (DataSourceError, DataLayerError, OSError, ValueError, RuntimeError) as error:
        first = (str(error).strip().splitlines() or ["unknown reason"])[0]
        raise InputError(f"{path}: cannot be read as a map ({first}); is the file whole?") from error


def _read_layer(path: Path, name: str) -> GivenLayer | None:
    info = pyogrio.read_info(path, layer=name)
    table = pyogrio.read_dataframe(path, layer=name, use_arrow=False)
    if not isinstance(table, gpd.GeoDataFrame):
        return None
    for column, kind in zip(info["fields"], info["dtypes"], strict=True):
        if column in table:
            table[column] = _as_written(table[column], str(kind))
    crs = info.get("crs")
    if path.suffix.lower() in (".geojson", ".json") and crs and not _may_be_degrees(table, path):
        crs = None
    return GivenLayer(name, table.set_crs(None, allow_override=True), str(crs) if crs else None)


def _as_written(values: pd.Series, kind: str) -> pd.Series:
    """A column in the type that the file has it in: missing values make others of whole numbers and of yes-or-no."""
    if kind.startswith(("int", "uint")) and pd.api.types.is_float_dtype(values):
        return pd.Series(values, dtype=NULLABLE[kind])
    if kind == "bool" and not pd.api.types.is_bool_dtype(values):
        return pd.Series(values, dtype="boolean")
    return pd.Series([_plain(value) for value in values], values.index, object) if values.dtype == object else values


def _plain(value: object) -> object:
    """Lists and records as JSON text, which a GeoPackage can hold."""
    if isinstance(value, np.ndarray):
        value = value.tolist()
    return json.dumps(value, ensure_ascii=False) if isinstance(value, list | dict) else value


def _may_be_degrees(table: gpd.GeoDataFrame, path: Path) -> bool:
    """Whether a GeoJSON file is in the system it says: without a word it is in degrees, which cannot be 565520."""
    if b'"crs"' in path.read_bytes()[:4096]:
        return True
    bounds = np.abs(np.asarray(table.total_bounds, np.float64))
    return not np.isfinite(bounds).all() or bool((bounds <= LARGEST_DEGREE).all())
