"""What every file of vector layers needs: one kind of geometry a layer, and a date that is always the same."""

from __future__ import annotations

import geopandas as gpd

FIXED_DATE = "2000-01-01T00:00:00Z"
"""Written as the date of change, so that the same draft gives the same bytes on any day."""


def geometry_type(name: str, layer: gpd.GeoDataFrame, /) -> str:
    """One geometry type a layer: from its name (`rock_point`) or, for a mixed one, any geometry."""
    for ending, kind in (("_point", "Point"), ("_line", "LineString"), ("_area", "Polygon")):
        if name.endswith(ending):
            return kind
    kinds = set(layer.geom_type.dropna())
    return kinds.pop() if len(kinds) == 1 else "Unknown"
