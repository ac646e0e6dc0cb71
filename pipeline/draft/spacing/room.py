"""Room on paper for what is drawn, in one pass: points moved, contours bent and cut, and what finds no room left out."""

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
from pipeline.draft.spacing.contours import SHIFT_SHARE, bend_apart
from pipeline.draft.spacing.cuts import cut_crowded
from pipeline.draft.spacing.extent import colour_of, gap_m, half_line_m, point_ink
from pipeline.draft.spacing.obstacles import part_cliffs
from pipeline.draft.spacing.points import keep_apart
from pipeline.draft.spacing.strokes import SLOPE_LINE, follow, touches_another
from pipeline.norm.symbols import SymbolTable

CONTOURS = ("101", "102", "103")
NOT_DRAWN = ("candidate", "rejected")
SAID_FROM_M = 0.05
"""Moves and cuts below this are rounding."""
FURTHER_SHARE = 0.5
"""Share of the way to the next contour that one may be bent off a point symbol it would touch otherwise. The norm
forbids both, to touch and to be off by more than a quarter; what cannot be read is worse (our choice)."""
STROKE_CLEAR_M = 2.0
"""Distance of a slope line's middle from what a point symbol covers: half of its width and some white (our choice)."""

SEEN_M = 1.0
"""White that is seen between a point symbol and a contour: 0.07 mm of map, half of a contour's width (our choice)."""

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
    features: gpd.GeoDataFrame, outline: Polygon | MultiPolygon, symbols: SymbolTable, /, *, north_deg: float
) -> Roomy:
    """The features with the gaps of the norm between those that are drawn; candidates stay where they are.

    Parameters
    ----------
    north_deg : magnetic north, clockwise from grid north; `angle_deg` of the features is clockwise from grid north
    """
    is_drawn = ~features["status"].isin(NOT_DRAWN).to_numpy()
    drawn = features[is_drawn].reset_index(drop=True)
    drawn, parted = _part_cliffs(drawn, symbols)
    drawn, moved = _move_points(drawn, outline, symbols, north_deg=north_deg)
    drawn, bent = _bend_contours(drawn, symbols, north_deg=north_deg)
    drawn, settled = _settle_points(drawn, outline, symbols, north_deg=north_deg)
    joined = pd.concat([drawn, features[~is_drawn]], ignore_index=True)
    table = gpd.GeoDataFrame(joined, geometry="geometry", crs=features.crs)
    return Roomy(table, [*parted, *moved, *bent, *settled])


def _part_cliffs(drawn: gpd.GeoDataFrame, symbols: SymbolTable) -> tuple[gpd.GeoDataFrame, Parts]:
    """Cliffs moved or trimmed so that a way beside them is seen or closed, and which."""
    parted = part_cliffs(drawn, symbols)
    was_moved, was_cut = parted.moved_m > SAID_FROM_M, parted.cut_m > SAID_FROM_M
    beside = "beside another obstacle, from which it must be seen to be apart"
    changes = [
        left_out(drawn[was_moved], f"moved {beside}", what="moved", distance_m=parted.moved_m[was_moved]),
        left_out(drawn[was_cut], f"trimmed {beside}", what="cut", distance_m=parted.cut_m[was_cut]),
    ]
    rest = _with_geometry(drawn, parted.lines)
    return rest[~rest.geometry.is_empty].explode(ignore_index=True), changes


def _settle_points(
    drawn: gpd.GeoDataFrame, outline: Polygon | MultiPolygon, symbols: SymbolTable, *, north_deg: float
) -> tuple[gpd.GeoDataFrame, Parts]:
    """Brown points that a contour still touches, moved to where it does not."""
    moves = keep_apart(drawn, outline, symbols, north_deg=north_deg, colours=["brown"], beside_contours_m=SEEN_M)
    was_moved = moves.moved_m > SAID_FROM_M
    reason = "off the contours, which cannot be bent further"
    changes = [left_out(drawn[was_moved], reason, what="moved", distance_m=moves.moved_m[was_moved])]
    return _with_geometry(drawn, moves.geometry), changes


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


def _bend_contours(
    drawn: gpd.GeoDataFrame, symbols: SymbolTable, *, north_deg: float
) -> tuple[gpd.GeoDataFrame, Parts]:
    """Contours bent off each other and off brown symbols, and cut where that does not help; which, and how."""
    number = drawn["symbol"].to_numpy(str)
    geometry = drawn.geometry.to_numpy().copy()
    is_line = shapely.get_dimensions(geometry) == 1
    lines = np.flatnonzero(np.isin(number, CONTOURS) & is_line)
    marks, gaps = _brown_marks(drawn, symbols, north_deg=north_deg)
    before = geometry[lines].copy()
    bent = bend_apart(before, number[lines], marks, gaps, symbols, shift_share=SHIFT_SHARE)
    touched = _touched(marks, bent)
    white = np.full(int(touched.sum()), symbols["101"].ground_m("line_mm") / 2)
    bent = bend_apart(bent, number[lines], marks[touched], white, symbols, shift_share=FURTHER_SHARE)
    cut = cut_crowded(bent, number[lines], *_firm_lines(drawn, symbols), symbols)
    geometry[lines] = cut.lines
    changes = [
        _moved(drawn.iloc[lines], before, bent, "bent off the lines and points beside it"),
        left_out(
            drawn.iloc[lines[cut.cut_m > SAID_FROM_M]],
            "interrupted where it cannot be bent off stronger lines: on ground as steep, or along a bank",
            what="cut",
            distance_m=cut.cut_m[cut.cut_m > SAID_FROM_M],
        ),
    ]
    strokes = np.flatnonzero((number == SLOPE_LINE) & is_line)
    moved, own = follow(geometry[strokes], before, cut.lines)
    geometry[strokes] = moved
    has_room = ~touches_another(moved, own, cut.lines, number[lines], symbols, gap_m=gap_m(symbols[SLOPE_LINE]))
    has_room[shapely.STRtree(moved).query(marks, predicate="dwithin", distance=STROKE_CLEAR_M)[1]] = False
    gone = strokes[~has_room | (own < 0)]
    changes.append(left_out(drawn.iloc[gone], "no room beside its contour"))
    rest = _with_geometry(drawn, geometry).drop(index=gone)
    return rest[~rest.geometry.is_empty].explode(ignore_index=True), changes


def _firm_lines(drawn: gpd.GeoDataFrame, symbols: SymbolTable) -> tuple[NDArray[np.object_], NDArray[np.float64]]:
    """Brown lines that are no contours, and half of what each covers with the white to be kept from it."""
    geometry = drawn.geometry.to_numpy()
    number = drawn["symbol"].to_numpy(str)
    is_line = shapely.get_dimensions(geometry) == 1
    brown = np.array([colour_of(symbols[text]) == "brown" for text in number], bool)
    rows = np.flatnonzero(is_line & brown & ~np.isin(number, (*CONTOURS, SLOPE_LINE)))
    clear_m = np.array([half_line_m(symbols[text]) + gap_m(symbols[text]) for text in number[rows]], np.float64)
    return geometry[rows], clear_m


def _touched(marks: NDArray[np.object_], lines: NDArray[np.object_]) -> NDArray[np.bool_]:
    """(k,) bool: marks that a contour still comes too near to."""
    if not len(marks) or not len(lines):
        return np.zeros(len(marks), np.bool_)
    found = shapely.STRtree(lines).query(marks, predicate="dwithin", distance=2.0)[0]
    return np.bincount(found, minlength=len(marks)) > 0


def _moved(
    features: gpd.GeoDataFrame, before: NDArray[np.object_], after: NDArray[np.object_], reason: str
) -> gpd.GeoDataFrame:
    """Lines that were bent, with the farthest that any place of them was moved."""
    off_m = shapely.hausdorff_distance(before, after)
    was_moved = off_m > SAID_FROM_M
    return left_out(features[was_moved], reason, what="moved", distance_m=off_m[was_moved])


def _with_geometry(features: gpd.GeoDataFrame, geometry: NDArray[np.object_]) -> gpd.GeoDataFrame:
    return features.set_geometry(gpd.GeoSeries(geometry, index=features.index, crs=features.crs))


def _brown_marks(
    drawn: gpd.GeoDataFrame, symbols: SymbolTable, *, north_deg: float
) -> tuple[NDArray[np.object_], NDArray[np.float64]]:
    """What brown point symbols and banks cover that no contour crosses, and the white to be kept from each."""
    geometry = drawn.geometry.to_numpy()
    number = drawn["symbol"].to_numpy(str)
    dimension = shapely.get_dimensions(geometry)
    is_brown = np.array([colour_of(symbols[text]) == "brown" for text in number], bool)
    contours = geometry[np.isin(number, CONTOURS) & (dimension == 1)]
    marks, gaps = [], []
    for row in np.flatnonzero(is_brown & (dimension == 0)).tolist():
        ink = point_ink(symbols[number[row]], north_deg=north_deg, angle_deg=float(drawn["angle_deg"].iloc[row]))
        marks.append(affinity.translate(ink, geometry[row].x, geometry[row].y))
        gaps.append(gap_m(symbols[number[row]]))
    for row in np.flatnonzero(is_brown & (dimension == 1) & ~np.isin(number, (*CONTOURS, SLOPE_LINE))).tolist():
        if not shapely.intersects(geometry[row], contours).any():
            marks.append(shapely.buffer(geometry[row], half_line_m(symbols[number[row]]), cap_style="flat"))
            gaps.append(gap_m(symbols[number[row]]))
    return np.array(marks, np.object_), np.array(gaps)
