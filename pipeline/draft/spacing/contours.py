"""Contours bent so that they keep off each other and off the point symbols beside them.

Lines are pushed apart in small steps, each push spread along the line, until all gaps are kept or the line has been
moved as far as the norm lets a contour be off.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.draft.spacing.near import Squares
from pipeline.draft.spacing.pairs import ROUNDING_M, SPARE_M, Needs, Pairs, nearest_other_m
from pipeline.draft.spacing.threads import Threads, threads_of
from pipeline.lattice.grid import EastNorth
from pipeline.norm.symbols import SymbolTable

ROUNDS = 60
"""Most rounds of pushing (our choice): most places are settled after ten."""
SHIFT_SHARE = 0.05
"""Share of the way to the next contour that one may be moved. The norm lets a contour be off by a quarter of the
interval (ISOM 101), and most of that went into generalising it. Fitted on scene_a and scene_b: at 0.25 a twentieth of
their contours lay more than 2.2 and 2.5 m off the true height instead of 0.8 and 1.0 m, at 0.05 no more than before."""
FARTHEST_M = 5.0
"""Farthest a contour is moved where no other is near: the norm lets neighbours be off by 5 %, 5 m in 100 m."""
ZONE_M = 20.0
"""Length of line beside a place with too little room that may move (our choice): what a push is spread over."""
FLANK_ZONE_M, MOUTH_M = 8.0, 1.5
"""Length of line beside a mouth that is too narrow, and how far it is moved to open it (our choice): a mouth is asked
to be 7.5 m wide, so this opens one of 4.5 m."""
FORM_LINE = "103"


STILL_M = 0.02
"""A round that moves a vertex by less than this brings nothing more (our choice)."""


def bend_apart(
    lines: NDArray[np.object_],
    numbers: NDArray[np.str_],
    marks: NDArray[np.object_],
    marks_gap_m: NDArray[np.float64],
    symbols: SymbolTable,
    /,
) -> NDArray[np.object_]:
    """(m,) the contours and form lines, bent apart as far as they may be.

    Parameters
    ----------
    lines : (m,) LineStrings of the symbols `numbers`
    marks : (k,) what the symbols beside them cover; they stay where they are
    marks_gap_m : (k,) white to be kept from each
    """
    if not len(lines):
        return lines
    threads = threads_of(lines)
    needs = Needs.of(threads, numbers, symbols)
    tree = shapely.STRtree(marks)
    still = np.zeros(len(threads.places))
    too_near = Pairs.of(threads, needs, np.arange(len(still)), still)
    zone = _zone(threads, needs, too_near, marks, marks_gap_m, tree)
    if not zone.any():
        return lines
    is_flank = threads.line[too_near.first] == threads.line[too_near.second]
    flanks = np.unique(np.concatenate([too_near.first[is_flank], too_near.second[is_flank]]))
    may_move_m = _may_move_m(threads, numbers, zone)
    if len(flanks):
        may_move_m = np.where(_within(threads.places, threads.places[flanks], FLANK_ZONE_M), MOUTH_M, may_move_m)
    moved = _pushed_apart(threads, needs, zone, may_move_m, marks, marks_gap_m, tree)
    return np.array(_untangled(lines, threads, moved), np.object_)


def _pushed_apart(
    threads: Threads,
    needs: Needs,
    zone: NDArray[np.bool_],
    may_move_m: NDArray[np.float64],
    marks: NDArray[np.object_],
    marks_gap_m: NDArray[np.float64],
    tree: shapely.STRtree,
) -> EastNorth:
    """(n, 2) where the vertices stand when all that may be done is done."""
    rows = np.flatnonzero(zone)
    pairs = Pairs.of(threads, needs, rows, may_move_m)
    # A vertex that cannot reach a mark even when it has moved as far as it may is not asked again in each round.
    by_mark = zone & _reaches_mark(needs, threads.places, rows, may_move_m, marks_gap_m, tree)
    squares = Squares.of(threads.places[rows], side_m=ZONE_M / 2)
    moved = threads.places.copy()
    busy = zone
    for _ in range(ROUNDS):
        push = pairs.pushes(moved, busy) + _off_marks(needs, moved, busy & by_mark, marks, marks_gap_m, tree)
        if not push.any():
            break
        step = _capped(threads.places[rows], moved[rows] + threads.spread(push)[rows], may_move_m[rows])
        still = np.hypot(*(step - moved[rows]).T) > STILL_M
        moved[rows] = step
        if not still.any():
            break
        busy = np.zeros_like(zone)
        busy[rows] = squares.only(still).have_near(threads.places[rows])
    return moved


def _zone(
    threads: Threads,
    needs: Needs,
    too_near: Pairs,
    marks: NDArray[np.object_],
    marks_gap_m: NDArray[np.float64],
    tree: shapely.STRtree,
) -> NDArray[np.bool_]:
    """(n,) bool: vertices within `ZONE_M` of a place with too little room."""
    everywhere = np.ones(len(threads.places), np.bool_)
    near_marks = _off_marks(needs, threads.places, everywhere, marks, marks_gap_m, tree).any(axis=1)
    seeds = np.unique(np.concatenate([too_near.first, too_near.second, np.flatnonzero(near_marks)]))
    if not len(seeds):
        return np.zeros(len(threads.places), np.bool_)
    return _within(threads.places, threads.places[seeds], ZONE_M)


def _within(places: EastNorth, seeds: EastNorth, reach_m: float) -> NDArray[np.bool_]:
    """(n,) bool: places within reach of some of the seeds."""
    return Squares.of(seeds, side_m=reach_m).have_near(places)


def _reaches_mark(
    needs: Needs,
    places: EastNorth,
    rows: NDArray[np.intp],
    may_move_m: NDArray[np.float64],
    marks_gap_m: NDArray[np.float64],
    tree: shapely.STRtree,
) -> NDArray[np.bool_]:
    """(n,) bool: those of the rows that a mark may push, wherever they have been moved."""
    found = np.zeros(len(places), np.bool_)
    if len(marks_gap_m) and len(rows):
        reach_m = float(marks_gap_m.max() + needs.half_m.max()) + SPARE_M + may_move_m[rows] + ROUNDING_M
        found[rows[np.unique(tree.query(shapely.points(places[rows]), predicate="dwithin", distance=reach_m)[0])]] = (
            True
        )
    return found


def _untangled(lines: NDArray[np.object_], threads: Threads, moved: EastNorth) -> NDArray[np.object_]:
    """(m,) the moved lines; those that would cross themselves or others that they did not cross stay as they were."""
    found = lines.copy()
    off_m = np.hypot(*(moved - threads.places).T)
    for number in np.flatnonzero(np.maximum.reduceat(off_m, threads.start[:-1]) > STILL_M).tolist():
        line = threads.read_back(number, moved)
        found[number] = line if line.is_simple else lines[number]
    first, second = shapely.STRtree(found).query(found, predicate="crosses")
    for a, b in zip(first.tolist(), second.tolist(), strict=True):
        if a < b and not lines[a].crosses(lines[b]):
            found[a], found[b] = lines[a], lines[b]
    return found


def _off_marks(
    needs: Needs,
    places: EastNorth,
    zone: NDArray[np.bool_],
    marks: NDArray[np.object_],
    marks_gap_m: NDArray[np.float64],
    tree: shapely.STRtree,
) -> EastNorth:
    """(n, 2) half of what each vertex lacks from the nearest mark: away from it, inside it away from its middle."""
    push = np.zeros_like(places)
    chosen = np.flatnonzero(zone)
    if not len(marks) or not len(chosen):
        return push
    points = np.asarray(shapely.points(places[chosen]), np.object_)
    reach_m = float(marks_gap_m.max() + needs.half_m.max()) + SPARE_M
    at, mark = tree.query(points, predicate="dwithin", distance=reach_m)
    if not len(at):
        return push
    vertex = chosen[at]
    asked = marks_gap_m[mark] + needs.half_m[vertex] + SPARE_M
    # Inside a mark the way to its edge is to be gone as well.
    rim = shapely.distance(points[at], shapely.boundary(marks)[mark])
    is_inside = np.asarray(shapely.intersects(points[at], marks[mark]), np.bool_)
    nearest = shapely.get_coordinates(shapely.shortest_line(marks[mark], points[at]))[::2]
    middle = shapely.get_coordinates(shapely.centroid(marks))[mark]
    away = places[vertex] - np.where(is_inside[:, None], middle, nearest)
    length = np.hypot(*away.T)
    lack = np.where(is_inside, asked + rim, asked - rim)
    lack = np.where(lack > 0, lack, 0.0)
    order = np.argsort(lack, kind="stable")
    way = away / np.maximum(length, 1e-6)[:, None] * lack[:, None] / 2
    push[vertex[order]] = way[order]
    return push


def _may_move_m(threads: Threads, numbers: NDArray[np.str_], zone: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(n,) how far each vertex may be moved: a share of the way to the nearest other contour."""
    may = np.full(len(threads.places), FARTHEST_M)
    rows = np.flatnonzero(zone)
    is_contour = (numbers != FORM_LINE)[threads.line]
    far_m = nearest_other_m(threads, is_contour, rows, reach_m=FARTHEST_M / SHIFT_SHARE)
    may[rows] = np.minimum(SHIFT_SHARE * far_m, FARTHEST_M)
    return may


def _capped(places: EastNorth, moved: EastNorth, may_move_m: NDArray[np.float64]) -> EastNorth:
    """(k, 2) where vertices were moved to, none farther from its place than it may be."""
    off = moved - places
    length = np.hypot(*off.T)
    capped: EastNorth = places + off * np.minimum(1.0, may_move_m / np.maximum(length, 1e-9))[:, None]
    return capped
