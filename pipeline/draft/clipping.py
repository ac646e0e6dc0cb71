"""Cutting the features at the edge of the area."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

DRAWN = ("Point", "LineString", "Polygon")
"""Geometries of the draft; all single-part."""


def clip(features: gpd.GeoDataFrame, outline: Polygon | MultiPolygon, /, *, min_part_m: float) -> gpd.GeoDataFrame:
    """The parts of the features inside the outline: single-part, valid, no crumbs shorter than `min_part_m`.

    Lines keep their direction, since a contour's direction tells which side is higher.
    """
    shapely.prepare(outline)
    geometry = features.geometry.to_numpy()
    touched = shapely.intersects(outline, geometry)
    features, geometry = features[touched].reset_index(drop=True), geometry[touched]
    cut = ~shapely.covers(outline, geometry)
    clipped = geometry.copy()
    for i in np.flatnonzero(cut):
        clipped[i] = _clipped(geometry[i], outline)
    parts = features.set_geometry(gpd.GeoSeries(clipped, crs=features.crs)).explode()
    # An area that shares a piece of its edge with the outline meets it in a line as well.
    is_whole = shapely.get_dimensions(parts.geometry.to_numpy()) == shapely.get_dimensions(geometry)[parts.index]
    parts = parts[is_whole & ~parts.geometry.is_empty.to_numpy() & parts.geometry.notna().to_numpy()]
    crumb = (parts.geom_type != "Point") & (parts.length < min_part_m)
    return parts[parts.geom_type.isin(DRAWN) & ~crumb].reset_index(drop=True)


def _clipped(geometry: BaseGeometry, outline: Polygon | MultiPolygon) -> BaseGeometry:
    inside = shapely.intersection(geometry, outline)
    if not isinstance(geometry, LineString):
        return shapely.make_valid(inside)
    pieces = [part for part in shapely.get_parts(inside) if part.geom_type == "LineString"]
    # A closed line is cut at its first vertex as well; merging heals that.
    merged = shapely.get_parts(shapely.line_merge(shapely.MultiLineString(pieces)))
    return MultiLineString([_along(part, geometry) for part in merged if isinstance(part, LineString)])


def _along(part: LineString, whole: LineString) -> LineString:
    """The part of a line, running the way the whole line runs."""
    middle = part.length / 2
    step = min(0.01, middle)
    before, after = (shapely.line_locate_point(whole, part.interpolate(middle + d)) for d in (-step, step))
    return part if before <= after else LineString(part.coords[::-1])
