"""Areas of the draft that give way to areas a mapper has put on the map: two symbols cannot stand on one ground."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import geopandas as gpd
import pandas as pd
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

CUT = "vegetation_area"
"""The layer whose areas do not overlap, nor lie under water or buildings."""
CUTTING = (CUT, "water_area", "manmade_area")
LEAST_CRUMB_M2 = 10.0
"""Smaller pieces that the cut leaves over are dropped: they print as a dot of 0.2 mm at 1:15 000 (our choice)."""
NOT_DRAWN = ("candidate", "rejected")


def make_way(layers: Mapping[str, gpd.GeoDataFrame], marked: Collection[str], /) -> dict[str, gpd.GeoDataFrame]:
    """The layers, drawn areas of vegetation without the ground of areas that a mapper has put there.

    What a mapper put there is never cut, not even by another of his. Of an area that falls apart the largest piece
    keeps the id, others have it with a letter.

    Parameters
    ----------
    marked : ids of features that are on the map by a mark
    """
    if CUT not in layers or not marked:
        return dict(layers)
    placed = [shape for name in CUTTING if name in layers for shape in _placed(layers[name], marked)]
    table = layers[CUT]
    if not placed or table.empty:
        return dict(layers)
    ground = shapely.union_all([shapely.make_valid(shape) for shape in placed])
    is_cut = ~table["status"].isin(NOT_DRAWN) & ~table["id"].isin(marked) & table.intersects(ground)
    rows = [row for keep, (_, row) in zip(is_cut, table.iterrows(), strict=True) for row in _cut(row, ground, keep)]
    cut = gpd.GeoDataFrame(pd.DataFrame(rows, columns=table.columns), geometry="geometry", crs=table.crs)
    cut = cut.astype({name: kind for name, kind in table.dtypes.items() if name != "geometry"})
    return {**layers, CUT: cut.reset_index(drop=True)}


def _placed(table: gpd.GeoDataFrame, marked: Collection[str]) -> list[BaseGeometry]:
    drawn = table["id"].isin(marked) & ~table["status"].isin(NOT_DRAWN)
    return [shape for shape in table.geometry[drawn] if isinstance(shape, Polygon)]


def _cut(row: pd.Series, ground: BaseGeometry, is_cut: bool) -> list[pd.Series]:
    """A row without some ground: none, one or several; untouched where its cut leaves it whole."""
    shape: BaseGeometry = row["geometry"]
    if not is_cut or shape.intersection(ground).area == 0:
        return [row]
    parts = [part for part in shapely.get_parts(shapely.make_valid(shape).difference(ground)) if _is_piece(part)]
    parts.sort(key=lambda part: -part.area)
    names = [str(row["id"]) + (chr(ord("a") + number - 1) if number else "") for number in range(len(parts))]
    pieces = [row.copy() for _ in parts]
    for piece, name, part in zip(pieces, names, parts, strict=True):
        piece["id"], piece["geometry"] = name, part
    return pieces


def _is_piece(part: BaseGeometry) -> bool:
    return isinstance(part, Polygon) and part.area >= LEAST_CRUMB_M2
