"""Room on paper for what is drawn, in one pass: cliffs and walls parted, points moved, contours bent and cut."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from pipeline.draft.record.left_out import left_out
from pipeline.draft.spacing.contour_room import bend_contours, cut_contours
from pipeline.draft.spacing.obstacles import Parted, part_cliffs, part_walls
from pipeline.draft.spacing.points import keep_apart
from pipeline.norm.symbols import SymbolTable
from pipeline.remembered import Remembered, nothing_remembered

CANDIDATE = "candidate"
NOT_DRAWN = (CANDIDATE, "rejected")
WALL_PROPOSED_FROM_M = 8.0
"""Pieces of walls shorter than this are not worth a question (our choice)."""
SAID_FROM_M = 0.05
"""Moves and cuts below this are rounding."""
Parts = list[gpd.GeoDataFrame]


@dataclass(frozen=True)
class Roomy:
    """A draft whose drawn features have room on paper.

    Attributes
    ----------
    features : all features
    changes : what was moved, cut or left out, each with the reason
    """

    features: gpd.GeoDataFrame
    changes: Parts


def make_room(
    features: gpd.GeoDataFrame,
    outline: Polygon | MultiPolygon,
    symbols: SymbolTable,
    /,
    *,
    north_deg: float,
    remembered: Remembered = nothing_remembered,
) -> Roomy:
    """The features with the gaps of the norm between those that are drawn; candidates stay where they are.

    Parameters
    ----------
    north_deg : magnetic north, clockwise from grid north; `angle_deg` of the features is clockwise from grid north
    remembered : what pieces of the work gave in an earlier run
    """
    is_drawn = ~features["status"].isin(NOT_DRAWN).to_numpy()
    drawn = features[is_drawn].reset_index(drop=True)
    drawn, cliffs = _parted(
        drawn, part_cliffs(drawn, symbols), "another obstacle, from which it must be seen to be apart"
    )
    parted = part_walls(drawn, symbols)
    proposed = _walls_without_room(drawn, parted)
    drawn, walls = _parted(drawn, parted, "a surer wall or a cliff")
    drawn, moved = _move_points(drawn, outline, symbols, north_deg=north_deg)
    drawn, bent = bend_contours(drawn, symbols, north_deg=north_deg, remembered=remembered)
    drawn, cut = cut_contours(drawn, symbols, north_deg=north_deg)
    joined = pd.concat([drawn, proposed, features[~is_drawn]], ignore_index=True)
    table = gpd.GeoDataFrame(joined, geometry="geometry", crs=features.crs)
    return Roomy(table, [*cliffs, *walls, *moved, *bent, *cut])


def _parted(drawn: gpd.GeoDataFrame, parted: Parted, beside: str) -> tuple[gpd.GeoDataFrame, Parts]:
    """Lines moved or trimmed beside what is told, and which."""
    was_moved, was_cut = parted.moved_m > SAID_FROM_M, parted.cut_m > SAID_FROM_M
    changes = [
        left_out(drawn[was_moved], f"moved beside {beside}", what="moved", distance_m=parted.moved_m[was_moved]),
        left_out(drawn[was_cut], f"trimmed beside {beside}", what="cut", distance_m=parted.cut_m[was_cut]),
    ]
    rest = _with_geometry(drawn, parted.lines)
    return rest[~rest.geometry.is_empty].explode(ignore_index=True), changes


def _walls_without_room(drawn: gpd.GeoDataFrame, parted: Parted) -> gpd.GeoDataFrame:
    """What is trimmed of walls, as candidates: on terraces whoever maps them chooses which walls to draw."""
    rows = np.flatnonzero(parted.cut_m > WALL_PROPOSED_FROM_M)
    stays = shapely.buffer(parted.lines[rows], parted.moved_m[rows] + SAID_FROM_M)
    lost = drawn.iloc[rows].set_geometry(
        gpd.GeoSeries(shapely.difference(drawn.geometry.to_numpy()[rows], stays), index=rows, crs=drawn.crs)
    )
    pieces = lost.explode(ignore_index=True)
    pieces = pieces[(pieces.geom_type == "LineString") & (pieces.length > WALL_PROPOSED_FROM_M)]
    told = pieces["evidence"].astype(str) + "; no room on paper beside a surer wall or a cliff"
    return pieces.assign(status=CANDIDATE, evidence=told)


def _move_points(
    drawn: gpd.GeoDataFrame, outline: Polygon | MultiPolygon, symbols: SymbolTable, *, north_deg: float
) -> tuple[gpd.GeoDataFrame, Parts]:
    """Point symbols moved off others and off the edge, and which."""
    moves = keep_apart(drawn, outline, symbols, north_deg=north_deg)
    was_moved = (moves.moved_m > SAID_FROM_M) & ~moves.no_room
    reason = "off the symbols beside it or the edge of the map"
    changes = [
        left_out(drawn[moves.no_room], "no room on paper beside a surer symbol or inside the edge of the map"),
        left_out(drawn[was_moved], reason, what="moved", distance_m=moves.moved_m[was_moved]),
    ]
    return _with_geometry(drawn, moves.geometry)[~moves.no_room].reset_index(drop=True), changes


def _with_geometry(features: gpd.GeoDataFrame, geometry: NDArray[np.object_]) -> gpd.GeoDataFrame:
    return features.set_geometry(gpd.GeoSeries(geometry, index=features.index, crs=features.crs))
