"""Contours that would run across standing water."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pipeline.draft.choosing.status import is_candidate
from pipeline.draft.collisions import Kept
from pipeline.draft.record.left_out import left_out
from pipeline.features import join_features, no_features

STANDING_WATER = ("301", "302")
CONTOURS = ("101", "102", "103")
ALONG_SHORE_M = 3.0
"""Distance from the shore, in metres, up to which a contour in water is one of the bank, drawn a little off: on a cliff
above a lake the lines are pushed out by as much. Our choice."""


def off_water(features: gpd.GeoDataFrame, /) -> Kept:
    """Contours cut from shore to shore where they cross standing water, whose surface is level.

    Contours are drawn on a surface that may be off by some part of the interval. Where water lies that near to the
    height of a contour, the line wanders over it.
    """
    nothing = no_features(str(features.crs))
    symbol = np.array([number.split(".")[0] for number in features["symbol"].to_numpy(str)], str)
    geometry = features.geometry.to_numpy()
    is_water = np.isin(symbol, STANDING_WATER) & (features.geom_type == "Polygon").to_numpy()
    water = geometry[is_water & ~is_candidate(features)]
    is_contour = np.isin(symbol, CONTOURS) & (shapely.get_dimensions(geometry) == 1)
    deep = shapely.buffer(water, -ALONG_SHORE_M)
    number, body = shapely.STRtree(deep).query(geometry[is_contour], predicate="intersects")
    at = np.flatnonzero(is_contour)[number]
    if not len(at):
        return features, nothing
    crossing = np.unique(at)
    cut = features.iloc[crossing].copy()
    cut.geometry = [_without_crossings(geometry[line], water[body[at == line]]) for line in crossing]
    is_gone = shapely.length(cut.geometry.to_numpy()) < ALONG_SHORE_M
    gone = left_out(features.iloc[crossing[is_gone]], "it would run across standing water")
    rest = cut[~is_gone].explode(ignore_index=True)
    rest = rest[shapely.length(rest.geometry.to_numpy()) >= ALONG_SHORE_M]
    others = features.drop(index=features.index[crossing])
    return join_features([others, rest], str(features.crs)), gone


def _without_crossings(line: BaseGeometry, water: NDArray[np.object_]) -> BaseGeometry:
    """A line without what lies in water, where that goes further from the shore than along it."""
    inside = shapely.get_parts(shapely.line_merge(shapely.intersection(line, water)))
    is_deep = np.zeros(len(inside), np.bool_)
    for body in water:
        is_deep |= shapely.intersects(inside, shapely.buffer(body, -ALONG_SHORE_M))
    crossings = inside[is_deep]
    # Ends that were worked out lie beside the line by rounding, so that what is taken away has a breadth.
    rest = shapely.difference(line, shapely.union_all(shapely.buffer(crossings, 1e-6, cap_style="flat")))
    return shapely.line_merge(rest, directed=True)
