"""One export of the draft's features."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from pipeline.draft.compose import LAYERS
from pipeline.exports import geojson, gpx, kml, shapefile
from pipeline.exports.formats import FROM_DRAFT
from pipeline.exports.styles.qml import qml_style
from pipeline.exports.styles.sld import sld_style
from pipeline.exports.told import Told
from pipeline.files import layers
from pipeline.files.disk import atomic
from pipeline.files.exports import archives, styled
from pipeline.norm.symbols import norm_table
from pipeline.sheet.page.north import north_of_area
from pipeline.sheet.texts import NORM
from pipeline.steps.exports.words import told_of
from pipeline.words.codes import LanguageCode


def export(
    *,
    draft: Path,
    outline: Path,
    survey: Path,
    season: Path,
    borrowed: Path,
    out: Path,
    name: str,
    scale: int,
    interval_m: float,
    map_date: str,
    language: LanguageCode,
) -> None:
    """Write the draft in the format that the name of the file stands for."""
    told = told_of(
        survey=survey,
        season=season,
        borrowed=borrowed,
        name=name,
        scale=scale,
        interval_m=interval_m,
        map_date=map_date,
        language=language,
    )
    tables = {layer: layers.read_layer(draft, layer) for layer in layers.count_features(draft)}
    kind = {file: kind for kind, file in FROM_DRAFT.items()}[out.name]
    area, crs = layers.read_outline(outline)
    if kind == "styled":
        _write_styled(out, tables, told, area, crs=crs)
    elif kind == "shapefile":
        legend = shapefile.legend_text(tables, symbols=norm_table(), told=told)
        archives.write_shapefiles(out, shapefile.shapefile_tables(tables), legend)
    elif kind == "kmz":
        pictures = kml.icons(tables, symbols=norm_table())
        archives.write_kmz(out, kml.kml_text(tables, symbols=norm_table(), told=told), pictures)
    else:
        atomic.write_text(out, _text(kind, tables, told, crs=crs, scale=scale))


def _text(kind: str, tables: Mapping[str, gpd.GeoDataFrame], told: Told, *, crs: str, scale: int) -> str:
    """The formats that are one text."""
    if kind == "geojson":
        return geojson.geojson_text(tables, told=told)
    if kind == "gpx":
        return gpx.gpx_text(tables, symbols=norm_table(), told=told)
    from pipeline.exports import dxf  # its library takes a third of a second, for those who want DXF

    return dxf.dxf_text(tables, symbols=norm_table(), scale=scale, crs=crs, told=told)


def styled_refreshed(refreshed: Path, outline: Path, told: Told, /, *, out: Path) -> None:
    """Write the layers of a refreshed map with the symbols of the norm; what has no number of it is left out."""
    symbols, tables = norm_table(), {}
    for layer in LAYERS:
        table = layers.read_layer(refreshed, layer)
        is_known = np.array([str(number) in symbols for number in table["symbol"]], np.bool_)
        # A mapper's own geometry may be of several parts and have heights, which no layer of a draft holds.
        parts = table[is_known].explode(index_parts=False, ignore_index=True)
        tables[layer] = parts.set_geometry(shapely.force_2d(parts.geometry.to_numpy()), crs=table.crs)
    area, crs = layers.read_outline(outline)
    _write_styled(out, tables, told, area, crs=crs)


def _write_styled(
    out: Path,
    tables: Mapping[str, gpd.GeoDataFrame],
    told: Told,
    area: MultiPolygon,
    *,
    crs: str,
) -> None:
    north_deg = north_of_area(area, crs=crs, date=told.map_date).grid_deg
    styled.write_styled(
        out,
        tables,
        qml={layer: qml_style(layer, symbols=norm_table(), north_deg=north_deg) for layer in tables},
        sld={layer: sld_style(layer, symbols=norm_table(), north_deg=north_deg) for layer in tables},
        told=told.entries,
        style_name=NORM,
        description=told.cautions[0],
    )
