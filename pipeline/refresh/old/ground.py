"""The ground that a finished map covers and what it shows there, since what it leaves out was left out on purpose."""

from __future__ import annotations

import geopandas as gpd
import shapely

from pipeline.refresh.old.old_map import GROUND_COLUMN

ASIDE = "technical"
REACH_M = 50.0
"""Ground as near as this to something on the map belongs to the map, in metres (our choice: a map of terrain rarely has
100 m without a line)."""
LEAST_SECTIONS = 3
"""A map with features of fewer of the five sections of the norm (landform, rock, water, vegetation, man-made) is a
sheet of one subject, such as paths, that the draft completes (our choice)."""
CONTOURS = ("101", "102", "103", "101.1")


def group_of(symbol: str, layer: str, /) -> str:
    """What a finished map shows completely or not at all: contours, or all else of one layer of the draft."""
    return "contours" if symbol in CONTOURS else layer


def ground_of_map(features: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame | None:
    """The ground that a map covers, with `holds`: the groups it has, separated by blanks; None for a part of a map."""
    layers = features["layer"].astype(str)
    sections = set(layers.str.rpartition("_")[0]) - {ASIDE}
    if len(sections) < LEAST_SECTIONS:
        return None
    shapes = features.geometry.to_numpy()
    around = shapely.union_all(shapely.buffer(shapes, REACH_M, quad_segs=2))
    ground = shapely.buffer(around, -REACH_M, quad_segs=2)
    groups = sorted({group_of(str(symbol), layer) for symbol, layer in zip(features["symbol"], layers, strict=True)})
    parts = [part for part in shapely.get_parts(ground) if isinstance(part, shapely.Polygon)]
    if not parts:
        return None
    return gpd.GeoDataFrame(
        {GROUND_COLUMN: [" ".join(groups)]}, geometry=[shapely.MultiPolygon(parts)], crs=features.crs
    )
