"""A GeoPackage that brings its styles along, in the table that GIS programs look for them in."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import pyogrio

from pipeline.files.disk.atomic import replacing
from pipeline.files.disk.layer_kinds import FIXED_DATE, geometry_type

STYLE_TABLE = """
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
  f_table_catalog TEXT(256), f_table_schema TEXT(256), f_table_name TEXT(256), f_geometry_column TEXT(256),
  styleName TEXT(30), styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT,
  owner TEXT(30), ui TEXT(30), update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now'))
)
"""
"""The table `layer_styles` with its usual columns; a layer is shown by the row whose `useAsDefault` is true."""


def write_styled(
    path: Path,
    layers: Mapping[str, gpd.GeoDataFrame],
    /,
    *,
    qml: Mapping[str, str],
    sld: Mapping[str, str],
    told: Mapping[str, str],
    style_name: str,
    description: str,
) -> None:
    """Write layers, their styles and what is to be told with them.

    Parameters
    ----------
    qml, sld : style of each layer
    told : written as metadata of the file, such as `title`, `description`, `licence`
    description : short words that every layer carries
    """
    with replacing(path) as part:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_DATE})
        for name, layer in layers.items():
            pyogrio.write_dataframe(
                layer,
                part,
                layer=name,
                driver="GPKG",
                append=part.exists(),
                geometry_type=geometry_type(name, layer),
                dataset_metadata=None if part.exists() else dict(told),
                layer_options={"DESCRIPTION": description},
            )
        with closing(sqlite3.connect(part)) as base, base:
            _write_styles(base, list(layers), qml, sld, style_name)


def _write_styles(
    base: sqlite3.Connection, names: list[str], qml: Mapping[str, str], sld: Mapping[str, str], style_name: str
) -> None:
    """The table of styles, told to the GeoPackage as one without geometry (OGC 12-128r18, Annex on attributes)."""
    columns = dict(base.execute("SELECT table_name, column_name FROM gpkg_geometry_columns").fetchall())
    base.execute(STYLE_TABLE)
    base.executemany(
        "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName,"
        " styleQML, styleSLD, useAsDefault, description, owner, ui, update_time)"
        " VALUES ('', '', ?, ?, ?, ?, ?, 1, ?, '', NULL, ?)",
        [(name, columns[name], style_name, qml[name], sld[name], style_name, FIXED_DATE) for name in names],
    )
    base.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change)"
        " VALUES ('layer_styles', 'attributes', 'layer_styles', 'How each layer is drawn', ?)",
        (FIXED_DATE,),
    )
