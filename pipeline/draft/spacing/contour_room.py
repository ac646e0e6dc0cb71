"""Room for contours: bent off each other and off brown symbols, drawn thin or interrupted where that does not help."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely import affinity

from pipeline.draft.record.left_out import left_out
from pipeline.draft.spacing.contours import bend_apart
from pipeline.draft.spacing.cuts import cut_crowded, thin_index
from pipeline.draft.spacing.extent import colour_of, gap_m, half_line_m, point_ink
from pipeline.draft.spacing.strokes import SLOPE_LINE, follow, touches_another
from pipeline.norm.symbols import SymbolTable
from pipeline.remembered import Remembered, nothing_remembered

CONTOUR = "101"
CONTOURS = ("101", "102", "103")
SAID_FROM_M = 0.05
"""Moves and cuts below this are rounding."""
TOUCHED_M = 2.0
"""A contour whose middle is this near to what a point symbol covers is seen to touch it: half of its width and 0.06 mm
of white."""

Shapes = NDArray[np.object_]
Metres = NDArray[np.float64]
Parts = list[gpd.GeoDataFrame]


def bend_contours(
    drawn: gpd.GeoDataFrame,
    symbols: SymbolTable,
    /,
    *,
    north_deg: float,
    remembered: Remembered = nothing_remembered,
) -> tuple[gpd.GeoDataFrame, Parts]:
    """The features with contours bent off each other and off brown symbols as far as they may be, and which."""
    rows, strokes = _rows(drawn)
    if not len(rows):
        return drawn, []
    number = drawn["symbol"].to_numpy(str)
    geometry = drawn.geometry.to_numpy().copy()
    marks, gaps = _brown_marks(drawn, symbols, north_deg=north_deg)
    before = geometry[rows].copy()
    geometry[rows] = bend_apart(before, number[rows], marks, gaps, symbols, remembered)
    geometry[strokes], _ = follow(geometry[strokes], before, geometry[rows])
    return drawn.set_geometry(list(geometry), crs=drawn.crs), [_moved(drawn.iloc[rows], before, geometry[rows])]


def cut_contours(
    drawn: gpd.GeoDataFrame, symbols: SymbolTable, /, *, north_deg: float
) -> tuple[gpd.GeoDataFrame, Parts]:
    """The features with contours drawn thin or interrupted where they still lie too near to something, and which."""
    rows, strokes = _rows(drawn)
    if not len(rows):
        return drawn, []
    number = drawn["symbol"].to_numpy(str)
    marks, _ = _brown_marks(drawn, symbols, north_deg=north_deg)
    contours = drawn.iloc[rows].reset_index(drop=True)
    firm, firm_clear_m = _firm_lines(drawn, symbols)
    pieces, changes = _with_gaps(contours, firm, firm_clear_m, marks, symbols)
    left = _by_line(pieces.geometry.to_numpy(), pieces["_line"].to_numpy(np.int64), len(rows))
    hung, gone = _strokes(drawn.iloc[strokes], contours.geometry.to_numpy(), left, number[rows], marks, symbols)
    others = drawn.drop(index=np.concatenate([rows, strokes]))
    tables = [table for table in (others, pieces.drop(columns="_line"), hung) if len(table)]
    joined = gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), geometry="geometry", crs=drawn.crs)
    return joined, [*changes, gone]


def _by_line(pieces: Shapes, line: NDArray[np.int64], n: int) -> Shapes:
    """(n,) what is left of each of n contours, all its pieces together; empty where nothing is."""
    order = np.argsort(line, kind="stable")
    ends = np.cumsum(np.bincount(line, minlength=n))[:-1]
    return np.array([shapely.union_all(some) for some in np.split(pieces[order], ends)], np.object_)


def _rows(drawn: gpd.GeoDataFrame) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Numbers of the contours and of the slope lines."""
    number = drawn["symbol"].to_numpy(str)
    is_line = shapely.get_dimensions(drawn.geometry.to_numpy()) == 1
    return np.flatnonzero(np.isin(number, CONTOURS) & is_line), np.flatnonzero((number == SLOPE_LINE) & is_line)


def _with_gaps(
    contours: gpd.GeoDataFrame, firm: Shapes, firm_clear_m: Metres, marks: Shapes, symbols: SymbolTable
) -> tuple[gpd.GeoDataFrame, Parts]:
    """Contours in pieces, thin and interrupted where they lie too near; `_line` is the number of the contour."""
    number = contours["symbol"].to_numpy(str)
    thick, thin = thin_index(contours.geometry.to_numpy(), number, symbols)
    is_thin = ~shapely.is_empty(thin)
    owner = np.concatenate([np.arange(len(contours)), np.flatnonzero(is_thin)])
    parts_number = np.concatenate([number, np.full(int(is_thin.sum()), CONTOUR)])
    parts = np.concatenate([thick, thin[is_thin]])
    cut = cut_crowded(parts, parts_number, owner, firm, firm_clear_m, marks, symbols)
    was_cut = cut.cut_m > SAID_FROM_M
    changes = [
        left_out(
            contours[is_thin],
            "drawn as thin as a contour where others lie too near",
            what="thinned",
            distance_m=shapely.length(thin[is_thin]),
        ),
        left_out(
            contours.iloc[owner[was_cut]],
            "interrupted where it cannot be bent off stronger lines or a point symbol: the ground is too steep",
            what="cut",
            distance_m=cut.cut_m[was_cut],
        ),
    ]
    pieces = contours.iloc[owner].assign(symbol=parts_number, _line=owner)
    pieces = pieces.set_geometry(list(cut.lines), crs=contours.crs)
    return pieces[~pieces.geometry.is_empty].explode(ignore_index=True), changes


def _strokes(
    strokes: gpd.GeoDataFrame,
    before: Shapes,
    after: Shapes,
    number: NDArray[np.str_],
    marks: Shapes,
    symbols: SymbolTable,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Slope lines where their contours now run, and those that have no room there."""
    moved, own = follow(strokes.geometry.to_numpy(), before, after)
    has_room = ~touches_another(moved, own, after, number, symbols, gap_m=gap_m(symbols[SLOPE_LINE])) & (own >= 0)
    has_room &= ~_touched(moved, marks)
    hung = strokes.set_geometry(list(moved), crs=strokes.crs)[has_room]
    return hung, left_out(strokes[~has_room], "no room beside its contour")


def _touched(shapes: Shapes, others: Shapes) -> NDArray[np.bool_]:
    """(k,) bool: shapes that others come too near to."""
    if not len(shapes) or not len(others):
        return np.zeros(len(shapes), np.bool_)
    found = shapely.STRtree(others).query(shapes, predicate="dwithin", distance=TOUCHED_M)[0]
    return np.asarray(np.bincount(found, minlength=len(shapes)) > 0)


def _moved(features: gpd.GeoDataFrame, before: Shapes, after: Shapes) -> gpd.GeoDataFrame:
    """Lines that were bent, with the farthest that any place of them was moved."""
    off_m = np.zeros(len(before))
    differs = np.array([one is not other for one, other in zip(before, after, strict=True)], np.bool_)
    off_m[differs] = shapely.hausdorff_distance(before[differs], after[differs])
    was_moved = off_m > SAID_FROM_M
    reason = "bent off the lines and points beside it"
    return left_out(features[was_moved], reason, what="moved", distance_m=off_m[was_moved])


def _firm_lines(drawn: gpd.GeoDataFrame, symbols: SymbolTable) -> tuple[Shapes, Metres]:
    """Brown lines that are no contours, and half of what each covers with the white to be kept from it."""
    geometry = drawn.geometry.to_numpy()
    number = drawn["symbol"].to_numpy(str)
    is_line = shapely.get_dimensions(geometry) == 1
    brown = np.array([colour_of(symbols[text]) == "brown" for text in number], bool)
    rows = np.flatnonzero(is_line & brown & ~np.isin(number, (*CONTOURS, SLOPE_LINE)))
    clear_m = np.array([half_line_m(symbols[text]) + gap_m(symbols[text]) for text in number[rows]], np.float64)
    return geometry[rows], clear_m


def _brown_marks(drawn: gpd.GeoDataFrame, symbols: SymbolTable, *, north_deg: float) -> tuple[Shapes, Metres]:
    """What brown point symbols cover, and banks that no contour crosses; and the white to be kept from each."""
    geometry = drawn.geometry.to_numpy()
    number = drawn["symbol"].to_numpy(str)
    dimension = shapely.get_dimensions(geometry)
    brown = np.array([colour_of(symbols[text]) == "brown" for text in number], bool)
    contours = geometry[np.isin(number, CONTOURS) & (dimension == 1)]
    marks, gaps = [], []
    for row in np.flatnonzero(brown & (dimension == 0)).tolist():
        ink = point_ink(symbols[number[row]], north_deg=north_deg, angle_deg=float(drawn["angle_deg"].iloc[row]))
        marks.append(affinity.translate(ink, geometry[row].x, geometry[row].y))
        gaps.append(gap_m(symbols[number[row]]))
    for row in np.flatnonzero(brown & (dimension == 1) & ~np.isin(number, (*CONTOURS, SLOPE_LINE))).tolist():
        if not shapely.intersects(geometry[row], contours).any():
            marks.append(shapely.buffer(geometry[row], half_line_m(symbols[number[row]]), cap_style="flat"))
            gaps.append(gap_m(symbols[number[row]]))
    return np.array(marks, np.object_), np.array(gaps, np.float64)
