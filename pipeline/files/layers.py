"""Vector layers on disk: OGC GeoPackage, written whole and atomically."""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely
from pyogrio.errors import DataSourceError
from shapely.geometry import MultiPolygon, Polygon

from pipeline.errors import InputError
from pipeline.files.disk.atomic import replacing
from pipeline.files.disk.layer_kinds import FIXED_DATE, geometry_type


def write_layers(path: Path, layers: Mapping[str, gpd.GeoDataFrame], /) -> None:
    """Write several layers to one GeoPackage, in the order given; an empty layer is written empty."""
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_DATE})
    with replacing(path) as part:
        for name, layer in layers.items():
            pyogrio.write_dataframe(
                layer, part, layer=name, driver="GPKG", append=part.exists(), geometry_type=geometry_type(name, layer)
            )


def write_features(path: Path, features: gpd.GeoDataFrame, /) -> None:
    """Write a theme's features, mixed geometries in one layer."""
    write_layers(path, {"features": features})


def read_features(path: Path, /) -> gpd.GeoDataFrame:
    """Read what `write_features` wrote."""
    return read_layer(path, "features")


def read_layer(path: Path, name: str, /) -> gpd.GeoDataFrame:
    """Read one layer of a GeoPackage; text columns stay text even when the layer is empty."""
    layer = gpd.read_file(path, layer=name)
    for column in layer.columns.drop(layer.geometry.name):
        if not pd.api.types.is_numeric_dtype(layer[column]):
            layer[column] = layer[column].astype(object)
    return layer


def read_outline(path: Path, /, *, layer: str = "outline") -> tuple[MultiPolygon, str]:
    """The outline of the area that the rasters step wrote, or all ground the survey covers (`covered`), and its CRS."""
    table = read_layer(path, layer)
    authority = table.crs.to_authority()
    crs = ":".join(authority) if authority else table.crs.to_wkt()
    return MultiPolygon(list(shapely.get_parts(table.geometry.to_numpy()))), crs


def count_features(path: Path, /) -> dict[str, int]:
    """Number of features in each layer of a GeoPackage, in the order of `pyogrio.list_layers`."""
    # Asked for one by one, GDAL opens the file anew for each: a tenth of a second for a draft.
    names = [str(name) for name in pyogrio.list_layers(path)[:, 0]]
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as base:
        quoted = {name: name.replace('"', '""') for name in names}
        return {name: int(base.execute(f'SELECT count(*) FROM "{quoted[name]}"').fetchone()[0]) for name in names}


def count_by_status(path: Path, /) -> dict[str, int]:
    """Number of features of each `status` in all layers of a draft; the sheet edge and north lines are no features."""
    found: Counter[str] = Counter()
    for name in pyogrio.list_layers(path)[:, 0]:
        if not str(name).startswith("technical"):
            table = pyogrio.read_dataframe(path, layer=name, columns=["status"], read_geometry=False)
            found.update(map(str, table["status"]))
    return dict(found)


def read_boundary(path: Path, crs: str, /) -> Polygon | MultiPolygon:
    """The outline of an area in the working CRS, all polygons of the file joined.

    Raises
    ------
    InputError
        If the file is missing, cannot be read, has no CRS, or holds no polygon.
    """
    if not path.exists():
        raise InputError(f"{path}: there is no such boundary file; correct 'boundary:' or leave it out")
    try:
        outline = gpd.read_file(path)
    except (DataSourceError, OSError) as error:
        raise InputError(f"{path}: cannot be read as a boundary ({error})") from error
    polygons = outline[outline.geom_type.isin(["Polygon", "MultiPolygon"])]
    if polygons.empty:
        raise InputError(f"{path}: holds no polygon; draw the outline of the area as one")
    if polygons.crs is None:
        raise InputError(f"{path}: does not say its coordinate system; save it with one")
    joined = shapely.make_valid(polygons.to_crs(crs).union_all())
    if isinstance(joined, Polygon | MultiPolygon):
        return joined
    parts = [part for part in shapely.get_parts(joined) if isinstance(part, Polygon)]
    return MultiPolygon(parts)
