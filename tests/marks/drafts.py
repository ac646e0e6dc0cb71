"""Small made drafts to mark."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.draft.compose import COLUMNS
from pipeline.marks.edits import as_written
from pipeline.norm.symbols import norm_table

CRS = "EPSG:25832"
EAST, NORTH = 565500.0, 5712000.0
Layers = dict[str, gpd.GeoDataFrame]


def table_of(rows: list[tuple[str, str, float, str, BaseGeometry]]) -> gpd.GeoDataFrame:
    """Features of id, symbol, confidence, status and geometry, with all columns of a draft."""
    names = ["id", "symbol", "confidence", "status"]
    table = pd.DataFrame([row[:4] for row in rows], columns=names)
    table = table.assign(
        name=[norm_table().name_of(symbol) for symbol in table["symbol"]],
        evidence="1.6 m high",
        origin="lidar",
        elevation_m=np.nan,
        height_m=np.arange(len(rows)) * 1.1,
        width_m=np.nan,
        angle_deg=0.0,
    )
    return gpd.GeoDataFrame(table[list(COLUMNS)], geometry=[row[4] for row in rows], crs=CRS)


def made_draft(n: int = 8) -> Layers:
    """Boulders 20 m apart, two paths and a thicket: each second boulder is only proposed."""
    boulders = [
        (f"boulder{k}", "204", 0.35 if k % 2 else 0.83, "candidate" if k % 2 else "draft",
         Point(EAST + 20 * k + 1 / 3, NORTH + 1 / 7))
        for k in range(n)
    ]  # fmt: skip
    paths = [
        (f"path{k}", "505", 0.6, "draft", LineString([(EAST, NORTH + 50 + 30 * k), (EAST + 90.1, NORTH + 55 + 30 * k)]))
        for k in range(2)
    ]
    corners = [(EAST, NORTH + 150), (EAST + 40.7, NORTH + 150), (EAST + 40.7, NORTH + 190), (EAST, NORTH + 190)]
    return {
        "rock_point": table_of(boulders),
        "manmade_line": table_of(paths),
        "vegetation_area": table_of([("thicket", "408", 0.7, "draft", Polygon(corners))]),
        "water_point": table_of([]),
    }


def written(layers: Layers) -> Layers:
    """The draft as a run keeps it beside draft.gpkg, nothing learned."""
    return as_written(layers, {})
