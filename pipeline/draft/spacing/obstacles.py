"""Cliffs that would leave a gap too narrow to be seen as a way: moved a little, or trimmed."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from pipeline.draft.spacing.extent import gap_m, half_line_m
from pipeline.draft.spacing.points import SLACK_M, steps_to_try
from pipeline.norm.symbols import Symbol, SymbolTable

CLIFFS = ("201", "202")
FIXED = ("206", "301", "307", "515", "518", "521", "529")
"""What cannot be crossed and stays where it is: water, houses, walls."""
PASSABLE = "202"
FARTHEST_M = 2.0
"""Farthest a cliff is moved, in metres (our choice): what the lip of one is off by anyway."""
NEAR_M = 25.0
"""Obstacles farther away than this are out of reach of a cliff that is moved."""
TOUCH_M = 0.3
"""Two obstacles nearer than this, ink to ink, are one on paper: 0.02 mm."""


@dataclass(frozen=True)
class Parted:
    """Cliffs after parting.

    Attributes
    ----------
    lines : (n,) geometries of all features; cliffs where they shall lie, of several parts or empty where trimmed
    moved_m, cut_m : (n,) float64, how far each was moved, and the length taken out of it
    """

    lines: NDArray[np.object_]
    moved_m: NDArray[np.float64]
    cut_m: NDArray[np.float64]


def part_cliffs(drawn: gpd.GeoDataFrame, symbols: SymbolTable, /) -> Parted:
    """Cliffs with the norm's gap to each other and, if impassable, to all that cannot be crossed; the surest stay.

    One that has no room anywhere near loses the stretch beside the other, and all of itself where what is left would
    be shorter than a cliff may be. Where two touch they are one obstacle, and that is no gap.
    """
    geometry = drawn.geometry.to_numpy().copy()
    number = drawn["symbol"].to_numpy(str)
    sure = drawn["confidence"].to_numpy(np.float64)
    moved_m, cut_m = np.zeros(len(drawn)), np.zeros(len(drawn))
    is_cliff = np.isin(number, CLIFFS) & (shapely.get_dimensions(geometry) == 1)
    placed = np.flatnonzero(np.isin(number, FIXED) & (shapely.get_dimensions(geometry) > 0)).tolist()
    cliffs = np.flatnonzero(is_cliff)
    for row in cliffs[np.lexsort((-shapely.length(geometry[cliffs]), -sure[cliffs], number[cliffs]))].tolist():
        beside = np.array(placed, np.intp)
        beside = beside[shapely.distance(geometry[beside], geometry[row]) < NEAR_M]
        near = [(other, _white_m(number[row], number[other], symbols)) for other in beside.tolist()]
        others = [(_body(number[other], geometry[other], symbols), white) for other, white in near if white]
        before = geometry[row]
        geometry[row], moved_m[row] = _with_room(before, others, symbols[number[row]])
        cut_m[row] = before.length - geometry[row].length
        placed.append(row)
    return Parted(geometry, moved_m, np.where(cut_m > SLACK_M, cut_m, 0.0))


def _white_m(number: str, other: str, symbols: SymbolTable) -> float:
    """White that a cliff keeps from another obstacle; 0 where nothing is asked."""
    if PASSABLE in (number, other) and other not in CLIFFS:
        return 0.0
    return min(gap_m(symbols[number]), gap_m(symbols[other])) + SLACK_M


def _body(number: str, shape: BaseGeometry, symbols: SymbolTable) -> BaseGeometry:
    """What the line of an obstacle covers, without tags, which go where space is short; of an area its edge too."""
    symbol = symbols[number]
    if shapely.get_dimensions(shape) == 1:
        return shapely.buffer(shape, half_line_m(symbol), cap_style="flat")
    return shapely.buffer(shape, symbol.ground_m("edge_mm") / 2) if symbol.has("edge_mm") else shape


def _with_room(
    line: BaseGeometry, others: list[tuple[BaseGeometry, float]], symbol: Symbol
) -> tuple[BaseGeometry, float]:
    """A cliff moved, else trimmed, so that it keeps its white from the others; and how far it was moved.

    The smallest step may close a gap as well as open it: two cliffs that end before each other are one.
    """
    half_m = half_line_m(symbol)
    body = shapely.buffer(line, half_m, cap_style="flat")
    short = [(one, white) for one, white in others if TOUCH_M < body.distance(one) < white]
    if not short:
        return line, 0.0
    for step in steps_to_try(FARTHEST_M):
        there = affinity.translate(body, *step)
        if not any(TOUCH_M < there.distance(one) < white for one, white in others):
            return affinity.translate(line, *step), float(np.hypot(*step))
    beside = shapely.union_all([shapely.buffer(one, white + half_m) for one, white in short])
    rest = shapely.get_parts(shapely.line_merge(shapely.difference(line, beside), directed=True))
    return shapely.MultiLineString([part for part in rest if part.length >= symbol.smallest.length_m]), 0.0
