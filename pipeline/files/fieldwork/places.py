"""Files of points that a mapper names, such as parking places from a GPS."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely
from pyogrio.errors import DataSourceError

from pipeline.errors import InputError

DEGREES = "EPSG:4326"


def read_places(path: Path, /) -> list[tuple[float, float]]:
    """Latitude and longitude of all points of a file, in the order of the file.

    Raises
    ------
    InputError
        If the file is missing, cannot be read, has no point, or does not say its coordinate system.
    """
    if not path.is_file():
        raise InputError(f"{path}: there is no such file of points; correct 'parking:' or leave it out")
    try:
        tables = [gpd.read_file(path, layer=name) for name in gpd.list_layers(path)["name"]]
    except (DataSourceError, OSError) as error:
        raise InputError(f"{path}: cannot be read as points ({error})") from error
    points = [table[table.geometry.type == "Point"] for table in tables if isinstance(table, gpd.GeoDataFrame)]
    filled = [table for table in points if len(table)]
    if not filled:
        raise InputError(f"{path}: holds no point; save the parking place as one, for example as a waypoint in GPX")
    if any(table.crs is None for table in filled):
        raise InputError(f"{path}: does not say its coordinate system; save it with one")
    joined = pd.concat([table.geometry.to_crs(DEGREES) for table in filled])
    return [(float(y), float(x)) for x, y in shapely.get_coordinates(joined)]
