"""Contours bent so that they keep off each other and off the point symbols beside them.

Lines are pushed apart in small steps, each push spread along the line, until all gaps are kept or the line has been
moved as far as the norm lets a contour be off.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.draft.spacing.near import Squares
from pipeline.draft.spacing.pairs import ROUNDING_M, Needs, Pairs, nearest_other_m
from pipeline.draft.spacing.pushing import STILL_M, Marks, Pushed, pushed_apart
from pipeline.draft.spacing.threads import Threads, threads_of
from pipeline.lattice.grid import EastNorth
from pipeline.norm.symbols import SymbolTable
from pipeline.remembered import Remembered, nothing_remembered

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


def bend_apart(
    lines: NDArray[np.object_],
    numbers: NDArray[np.str_],
    marks: NDArray[np.object_],
    marks_gap_m: NDArray[np.float64],
    symbols: SymbolTable,
    remembered: Remembered = nothing_remembered,
    /,
) -> NDArray[np.object_]:
    """(m,) the contours and form lines, bent apart as far as they may be.

    Parameters
    ----------
    lines : (m,) LineStrings of the symbols `numbers`
    marks : (k,) what the symbols beside them cover; they stay where they are
    marks_gap_m : (k,) white to be kept from each
    remembered : where vertices that are pushed came to stand before
    """
    if not len(lines):
        return lines
    threads = threads_of(lines)
    needs = Needs.of(threads, numbers, symbols)
    beside = Marks.of(marks, marks_gap_m)
    too_near = Pairs.of(threads, needs, np.arange(len(threads.places)), np.zeros(len(threads.places)))
    zone = _zone(threads, needs, too_near, beside)
    if not zone.any():
        return lines
    is_flank = threads.line[too_near.first] == threads.line[too_near.second]
    flanks = np.unique(np.concatenate([too_near.first[is_flank], too_near.second[is_flank]]))
    may_move_m = _may_move_m(threads, numbers, zone)
    if len(flanks):
        may_move_m = np.where(_within(threads.places, threads.places[flanks], FLANK_ZONE_M), MOUTH_M, may_move_m)
    rows = np.flatnonzero(zone)
    by_mark, _ = beside.near(threads.places[rows], needs.half_m[rows], may_move_m[rows] + ROUNDING_M)
    pairs = Pairs.of(threads, needs, rows, may_move_m)
    work = Pushed(threads, needs.half_m, may_move_m, rows, pairs, rows[np.unique(by_mark)])
    return _untangled(lines, threads, pushed_apart(work, beside, remembered))


def _zone(threads: Threads, needs: Needs, too_near: Pairs, marks: Marks) -> NDArray[np.bool_]:
    """(n,) bool: vertices within `ZONE_M` of a place with too little room."""
    near_marks, _ = marks.near(threads.places, needs.half_m, 0.0)
    seeds = np.unique(np.concatenate([too_near.first, too_near.second, near_marks]))
    if not len(seeds):
        return np.zeros(len(threads.places), np.bool_)
    return _within(threads.places, threads.places[seeds], ZONE_M)


def _within(places: EastNorth, seeds: EastNorth, reach_m: float) -> NDArray[np.bool_]:
    """(n,) bool: places within reach of some of the seeds."""
    return Squares.of(seeds, side_m=reach_m).have_near(places)


def _untangled(lines: NDArray[np.object_], threads: Threads, moved: EastNorth) -> NDArray[np.object_]:
    """(m,) the moved lines; those that would cross themselves or others that they did not cross stay as they were."""
    found = lines.copy()
    off_m = np.hypot(*(moved - threads.places).T)
    bent = np.flatnonzero(np.maximum.reduceat(off_m, threads.start[:-1]) > STILL_M)
    for number in bent.tolist():
        line = threads.read_back(number, moved)
        found[number] = line if line.is_simple else lines[number]
    # Of two lines that were not bent none is to be put back.
    place, other = shapely.STRtree(found).query(found[bent], predicate="crosses")
    for a, b in zip(bent[place].tolist(), other.tolist(), strict=True):
        if not lines[a].crosses(lines[b]):
            found[a], found[b] = lines[a], lines[b]
    return found


def _may_move_m(threads: Threads, numbers: NDArray[np.str_], zone: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(n,) how far each vertex may be moved: a share of the way to the nearest other contour."""
    may = np.full(len(threads.places), FARTHEST_M)
    rows = np.flatnonzero(zone)
    is_contour = (numbers != FORM_LINE)[threads.line]
    far_m = nearest_other_m(threads, is_contour, rows, reach_m=FARTHEST_M / SHIFT_SHARE)
    may[rows] = np.minimum(SHIFT_SHARE * far_m, FARTHEST_M)
    return may
