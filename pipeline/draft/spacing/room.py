"""Room on paper for what is drawn, in one pass: points moved, contours bent, and what finds no room left out."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import MultiPolygon, Polygon

from pipeline.draft.left_out import left_out
from pipeline.draft.spacing.contours import bend_apart
from pipeline.draft.spacing.extent import colour_of, gap_m, point_ink
from pipeline.draft.spacing.points import keep_apart
from pipeline.norm.symbols import SymbolTable

CONTOURS = ("101", "102", "103")
NOT_DRAWN = ("candidate", "rejected")
SAID_FROM_M = 0.05
"""Moves below this are rounding."""


@dataclass(frozen=True)
class Roomy:
    """A draft whose drawn features have room on paper.

    Attributes
    ----------
    features : all features
    changes : what was moved, cut or left out, each with the reason
    """

    features: gpd.GeoDataFrame
    changes: list[gpd.GeoDataFrame]


def make_room(
    features: gpd.GeoDataFrame, outline: Polygon | MultiPolygon, symbols: SymbolTable, /, *, north_deg: float
) -> Roomy:
    """The features with the gaps of the norm between those that are drawn; candidates stay where they are.

    Parameters
    ----------
    north_deg : magnetic north, clockwise from grid north; `angle_deg` of the features is clockwise from grid north
    """
    is_drawn = ~features["status"].isin(NOT_DRAWN).to_numpy()
    drawn = features[is_drawn].reset_index(drop=True)
    moves = keep_apart(drawn, outline, symbols, north_deg=north_deg)
    no_room = left_out(drawn[moves.no_room], "no room on paper beside a surer symbol or inside the edge of the map")
    was_moved = (moves.moved_m > SAID_FROM_M) & ~moves.no_room
    moved = left_out(
        drawn[was_moved],
        "off the symbols beside it or the edge of the map",
        what="moved",
        distance_m=moves.moved_m[was_moved],
    )
    drawn = drawn.set_geometry(gpd.GeoSeries(moves.geometry, crs=drawn.crs))[~moves.no_room].reset_index(drop=True)
    drawn, bent = _bend_contours(drawn, symbols, north_deg=north_deg)
    joined = pd.concat([drawn, features[~is_drawn]], ignore_index=True)
    return Roomy(gpd.GeoDataFrame(joined, geometry="geometry", crs=features.crs), [no_room, moved, bent])


def _bend_contours(
    drawn: gpd.GeoDataFrame, symbols: SymbolTable, *, north_deg: float
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Contours bent off each other and off brown points, and which were moved."""
    number = drawn["symbol"].to_numpy(str)
    geometry = drawn.geometry.to_numpy().copy()
    lines = np.flatnonzero(np.isin(number, CONTOURS) & (shapely.get_dimensions(geometry) == 1))
    marks, gaps = _brown_marks(drawn, symbols, north_deg=north_deg)
    bent = bend_apart(geometry[lines], number[lines], marks, gaps, symbols)
    geometry[lines] = bent.lines
    was_moved = lines[bent.moved_m > SAID_FROM_M]
    changes = left_out(
        drawn.iloc[was_moved],
        "bent off the lines and points beside it",
        what="moved",
        distance_m=bent.moved_m[bent.moved_m > SAID_FROM_M],
    )
    return drawn.set_geometry(gpd.GeoSeries(geometry, crs=drawn.crs)), changes


def _brown_marks(
    drawn: gpd.GeoDataFrame, symbols: SymbolTable, *, north_deg: float
) -> tuple[NDArray[np.object_], NDArray[np.float64]]:
    """What brown point symbols cover, and the white to be kept from each."""
    is_point = shapely.get_dimensions(drawn.geometry.to_numpy()) == 0
    is_brown = np.array([colour_of(symbols[text]) == "brown" for text in drawn["symbol"]], bool)
    points = drawn[is_point & is_brown]
    marks = [
        affinity.translate(point_ink(symbols[text], north_deg=north_deg, angle_deg=angle), place.x, place.y)
        for text, angle, place in zip(points["symbol"], points["angle_deg"], points.geometry, strict=True)
    ]
    return np.array(marks, np.object_), np.array([gap_m(symbols[text]) for text in points["symbol"]])
