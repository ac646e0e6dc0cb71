"""Features in longitude and latitude of WGS 84, as phones, watches and the web take them."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import shapely
from pyproj import CRS

WGS84 = "EPSG:4326"
DECIMALS = 7
"""Of a degree: a centimetre, finer than any draft (RFC 7946, 11.2, advises 6)."""


def in_degrees(layers: Mapping[str, gpd.GeoDataFrame], /) -> dict[str, gpd.GeoDataFrame]:
    """The layers with (longitude, latitude), outer rings counter-clockwise as RFC 7946, 3.1.6 asks.

    Raises
    ------
    ValueError
        If a layer does not say its coordinate system.
    """
    return {name: _in_degrees(table) for name, table in layers.items()}


def _in_degrees(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    if table.crs is None:
        raise ValueError("the layer does not say its coordinate system")
    moved = table.to_crs(CRS.from_user_input(WGS84))
    rounded = shapely.transform(moved.geometry.to_numpy(), lambda places: places.round(DECIMALS))
    return moved.set_geometry(shapely.orient_polygons(rounded), crs=moved.crs)
