"""Slope lines that follow the contour they hang on, and go where they would touch the next one."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity

from pipeline.draft.spacing.extent import half_line_m
from pipeline.norm.symbols import SymbolTable

SLOPE_LINE = "101.1"
ON_LINE_M = 0.5
"""A slope line begins this near to its contour (our choice)."""


def follow(
    strokes: NDArray[np.object_], before: NDArray[np.object_], after: NDArray[np.object_], /
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Slope lines moved with their contours.

    Parameters
    ----------
    strokes : (k,) LineStrings that begin on a contour
    before, after : (m,) the contours before and after they were bent and cut; those that are gone are empty

    Returns
    -------
    (k,) the strokes, and (k,) int64 the number of the contour that each hangs on; -1 where that is gone there.
    """
    moved = strokes.copy()
    own = np.full(len(strokes), -1, np.int64)
    if not len(strokes) or not len(before):
        return moved, own
    starts = shapely.points([stroke.coords[0] for stroke in strokes])
    nearest = shapely.STRtree(before).nearest(starts)
    for row, line in enumerate(nearest.tolist()):
        if starts[row].distance(before[line]) > ON_LINE_M or after[line].is_empty:
            continue
        place = shapely.get_coordinates(shapely.shortest_line(starts[row], after[line]))[1]
        step = place - shapely.get_coordinates(starts[row])[0]
        if np.hypot(*step) <= FARTHEST_M:
            moved[row], own[row] = affinity.translate(strokes[row], *step), line
    return moved, own


FARTHEST_M = 6.0
"""A slope line farther from what is left of its contour hangs on nothing: more than a contour is ever bent."""


def touches_another(
    strokes: NDArray[np.object_],
    own: NDArray[np.int64],
    lines: NDArray[np.object_],
    numbers: NDArray[np.str_],
    symbols: SymbolTable,
    /,
    *,
    gap_m: float,
) -> NDArray[np.bool_]:
    """(k,) bool: slope lines with too little white to a contour other than their own."""
    half = np.array([half_line_m(symbols[text]) for text in numbers])
    reach_m = gap_m + half_line_m(symbols[SLOPE_LINE])
    touches = np.zeros(len(strokes), np.bool_)
    if not len(strokes) or not len(lines):
        return touches
    stroke, line = shapely.STRtree(lines).query(strokes, predicate="dwithin", distance=reach_m + float(half.max()))
    near = shapely.distance(strokes[stroke], lines[line]) < reach_m + half[line]
    touches[stroke[near & (own[stroke] != line)]] = True
    return touches
