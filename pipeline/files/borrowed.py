"""Other people's data read: GeoPackage, GeoJSON, Shapefile, OpenStreetMap extracts, GPX."""

from __future__ import annotations

import gzip
import re
import tempfile
import warnings
from collections.abc import Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyproj
import shapely
from pyogrio.errors import DataLayerError, DataSourceError

from pipeline.errors import InputError

OSM_ENDINGS = (".osm", ".osm.gz", ".pbf")
OSM_CREDIT = "© OpenStreetMap contributors, ODbL 1.0"
"""As the licence of the Open Database and the guidelines of the OpenStreetMap Foundation ask (from memory)."""
XML_ENDINGS = (".osm", ".osm.gz", ".gpx", ".kml")
HEAD_BYTES = 65536
"""How much of an XML file is searched for declarations of entities: they stand before the first element."""
_DECLARES = re.compile(rb"<!\s*(?:DOCTYPE|ENTITY)", re.IGNORECASE)
AREA_TAGS = "building,landuse,natural,leisure,amenity,area,waterway,man_made,historic,ruins"
"""Tags of OpenStreetMap that make a closed way an area. The others, such as a barrier or a road, stay lines."""
WORKED_OUT = {"layer"}
"""What the tables may ask for that is no column of a file: the name of the layer within it."""


def is_osm(path: Path, /) -> bool:
    """Whether a file is an extract of OpenStreetMap, by its name."""
    return path.name.lower().endswith(OSM_ENDINGS)


def read_borrowed(
    path: Path, /, *, keys: Sequence[str], crs: str, within: tuple[float, float, float, float], own_crs: str | None
) -> list[gpd.GeoDataFrame]:
    """The layers of a file in the working CRS, with the columns of `keys` that it has as text, and `layer`.

    Parameters
    ----------
    keys : tags that the tables ask for
    within : west, south, east, north in the working CRS; what lies wholly outside is not read
    own_crs : system of a file that does not say its own

    Raises
    ------
    InputError
        If the file is missing, cannot be read, declares entities, does not say its coordinate system, says another than
        the area file, or lies elsewhere altogether.
    """
    if not path.exists():
        raise InputError(f"{path}: there is no such file; correct 'borrow:' or leave it out")
    _refuse_entities(path)
    source = f"/vsigzip/{path}" if path.name.lower().endswith(".gz") else str(path)
    with tempfile.TemporaryDirectory(prefix="tussock-borrow-") as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # GDAL tells of geometries that are mended below
        pyogrio.set_gdal_config_options({"OSM_CONFIG_FILE": _osm_columns(Path(folder), keys) if is_osm(path) else None})
        try:
            names = [str(name) for name, kind in pyogrio.list_layers(source) if kind is not None]
            layers = [_read_layer(path, source, name, keys, crs, within, own_crs) for name in names]
        except (DataSourceError, DataLayerError, OSError, ValueError, RuntimeError) as error:
            raise InputError(f"{path}: cannot be read as a map ({_first_line(error)})") from error
    read = [layer for layer in layers if layer is not None and len(layer)]
    if not read:
        _say_where(path, source, crs, within, own_crs)
    return read


def _first_line(error: Exception) -> str:
    return (str(error).strip().splitlines() or ["unknown reason"])[0]


def _refuse_entities(path: Path) -> None:
    """Entities that name each other fill any memory; no map needs one."""
    if not path.name.lower().endswith(XML_ENDINGS):
        return
    try:
        with gzip.open(path) if path.name.lower().endswith(".gz") else path.open("rb") as file:
            head = file.read(HEAD_BYTES)
    except (OSError, EOFError) as error:
        raise InputError(f"{path}: cannot be read ({_first_line(error)})") from error
    if _DECLARES.search(head):
        raise InputError(
            f"{path}: declares entities (<!DOCTYPE ...>), which no map needs and may be an attack; not read"
        )


def _osm_columns(folder: Path, keys: Sequence[str]) -> str:
    """A file that tells GDAL which tags of OpenStreetMap become columns, and which make a closed way an area."""
    tags = ",".join(key for key in keys if key not in WORKED_OUT)
    text = f"closed_ways_are_polygons={AREA_TAGS}\nattribute_name_laundering=no\n"
    for layer in ("points", "lines", "multipolygons", "multilinestrings", "other_relations"):
        text += f"[{layer}]\nosm_id=no\nosm_way_id=no\nother_tags=no\nattributes={tags}\n"
    file = folder / "columns.ini"
    file.write_text(text, encoding="utf-8")
    return str(file)


def _read_layer(
    path: Path,
    source: str,
    name: str,
    keys: Sequence[str],
    crs: str,
    within: tuple[float, float, float, float],
    own_crs: str | None,
) -> gpd.GeoDataFrame | None:
    """One layer, mended, in the working CRS; None for OpenStreetMap's relations that are no shapes."""
    if is_osm(path) and name in ("multilinestrings", "other_relations"):
        return None
    info = pyogrio.read_info(source, layer=name)
    layer_crs = _crs_of(path, info.get("crs"), own_crs)
    columns = [column for column in info["fields"] if column in keys]
    # GDAL filters OpenStreetMap by place after it has read everything, and its relations lose members on the way.
    box = None if is_osm(path) else _box_in(layer_crs, crs, within)
    table = pyogrio.read_dataframe(source, layer=name, columns=columns, bbox=box)
    if not isinstance(table, gpd.GeoDataFrame):
        return None
    table = table[~(table.geometry.isna() | table.geometry.is_empty)].set_crs(layer_crs, allow_override=True)
    table = table.to_crs(crs)
    geometry = shapely.force_2d(table.geometry.to_numpy())
    geometry = np.where(shapely.is_valid(geometry), geometry, shapely.make_valid(geometry))
    is_here = shapely.intersects(geometry, shapely.box(*within)) & np.isfinite(shapely.bounds(geometry)).all(axis=1)
    tags = {column: _as_text(table[column])[is_here] for column in columns} | {"layer": name}
    return gpd.GeoDataFrame(
        pd.DataFrame(tags, index=np.arange(int(is_here.sum()))), geometry=geometry[is_here], crs=crs
    )


def _as_text(column: pd.Series[str]) -> np.ndarray[tuple[int], np.dtype[np.object_]]:
    """(n,) the column as text: "" where it says nothing, whole numbers without a decimal point."""
    numbers = pd.api.types.is_numeric_dtype(column)
    return np.array(
        ["" if pd.isna(value) else f"{value:g}" if numbers else str(value).strip() for value in column], dtype=object
    )


def _crs_of(path: Path, said: str | None, own_crs: str | None) -> str:
    """The system of a layer: what the file says, else what the area file says; both must agree."""
    if said is None and own_crs is None:
        raise InputError(f"{path}: does not say its coordinate system; write 'crs:' below its 'file:' in the area file")
    if (
        said is not None
        and own_crs is not None
        and not pyproj.CRS(said).equals(pyproj.CRS(own_crs), ignore_axis_order=True)
    ):
        raise InputError(f"{path}: says {pyproj.CRS(said).name}, and 'borrow:' says {own_crs}; take out one of the two")
    return str(said or own_crs)


def _box_in(layer_crs: str, crs: str, within: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    """The rectangle in the layer's own coordinates, a little larger than the turned one."""
    west, south, east, north = pyproj.Transformer.from_crs(crs, layer_crs, always_xy=True).transform_bounds(*within)
    return float(west), float(south), float(east), float(north)


def _say_where(
    path: Path, source: str, crs: str, within: tuple[float, float, float, float], own_crs: str | None
) -> None:
    """Refuse a file of which nothing lies in the area, and say how far off it is.

    Raises
    ------
    InputError
        Always, except where the file holds no feature at all.
    """
    middle = np.array([(within[0] + within[2]) / 2, (within[1] + within[3]) / 2])
    for name, _kind in pyogrio.list_layers(source):
        info = pyogrio.read_info(source, layer=str(name), force_total_bounds=True, force_feature_count=True)
        bounds = info.get("total_bounds")
        if not info.get("features") or bounds is None or not np.isfinite(bounds).all():
            continue
        layer_crs = _crs_of(path, info.get("crs"), own_crs)
        to_area = pyproj.Transformer.from_crs(layer_crs, crs, always_xy=True)
        place = np.array(to_area.transform((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2))
        away_km = float(np.hypot(*(place - middle))) / 1000
        where = f"its middle lies {away_km:.1f} km away" if np.isfinite(away_km) else "it lies outside that system"
        raise InputError(
            f"{path}: nothing of it lies in the area; read as {pyproj.CRS(layer_crs).name}, {where}. Is its coordinate "
            "system right, and is it the file for this area?"
        )
