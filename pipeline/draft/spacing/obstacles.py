"""Cliffs and walls that would leave a gap too narrow to be seen: moved a little, or trimmed."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from pipeline.draft.spacing.extent import gap_m, half_line_m, line_ink
from pipeline.draft.spacing.points import SLACK_M, steps_to_try
from pipeline.norm.symbols import Symbol, SymbolTable

CLIFFS = ("201", "202")
FIXED = ("206", "301", "307", "515", "518", "521", "529")
"""What cannot be crossed and stays where it is: water, houses, walls."""
PASSABLE = "202"
WALLS, BESIDE_WALLS = ("513", "514"), ("201", "202", "515")
"""Walls that keep off each other, and what of their colour they keep off besides, which stays (our choice)."""
FARTHEST_M = 2.0
"""Farthest a cliff is moved, in metres (our choice): what the lip of one is off by anyway."""
NEAR_M = 25.0
"""Obstacles farther away than this are out of reach of a cliff that is moved."""
TOUCH_M = 0.3
"""Two obstacles nearer than this, ink to ink, are one on paper: 0.02 mm."""


@dataclass(frozen=True)
class Parted:
    """Cliffs or walls after parting.

    Attributes
    ----------
    lines : (n,) geometries of all features; those parted where they shall lie, of several parts or empty where trimmed
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


def part_walls(drawn: gpd.GeoDataFrame, symbols: SymbolTable, /) -> Parted:
    """Walls with the norm's gap to each other and to cliffs: terraces stand closer than they can be drawn.

    The surest stay, of equals the longest; the others are moved a little, or trimmed beside those that stay, so that of
    many terraces every second is drawn. Where two lines meet or cross there is no gap to keep.
    """
    geometry = drawn.geometry.to_numpy().copy()
    number = drawn["symbol"].to_numpy(str)
    sure = drawn["confidence"].to_numpy(np.float64)
    moved_m, cut_m = np.zeros(len(drawn)), np.zeros(len(drawn))
    is_line = shapely.get_dimensions(geometry) == 1
    placed = np.flatnonzero(np.isin(number, BESIDE_WALLS) & is_line).tolist()
    walls = np.flatnonzero(np.isin(number, WALLS) & is_line)
    for row in walls[np.lexsort((number[walls], -shapely.length(geometry[walls]), -sure[walls]))].tolist():
        beside = np.array(placed, np.intp)
        beside = beside[shapely.distance(geometry[beside], geometry[row]) < NEAR_M]
        before, symbol = geometry[row], symbols[number[row]]
        near = [Beside.of(geometry[other], symbols[number[other]], symbol) for other in beside.tolist()]
        geometry[row], moved_m[row] = _off(before, near, symbol)
        cut_m[row] = before.length - geometry[row].length
        placed.append(row)
    return Parted(geometry, moved_m, np.where(cut_m > SLACK_M, cut_m, 0.0))


@dataclass(frozen=True)
class Beside:
    """A line that a wall keeps off.

    Attributes
    ----------
    body : what it covers without its tags and dots
    zone : where no part of the wall may lie that does not meet the body
    """

    body: BaseGeometry
    zone: BaseGeometry

    @classmethod
    def of(cls, line: BaseGeometry, symbol: Symbol, wall: Symbol, /) -> Beside:
        """The line of a symbol, beside which a wall is to be drawn."""
        white_m = min(gap_m(symbol), gap_m(wall)) + SLACK_M
        return cls(_thin(line, symbol), shapely.buffer(line_ink(symbol, line), white_m))

    def meets(self, body: BaseGeometry, /) -> bool:
        """Whether a wall without its dots meets the line without its tags."""
        return bool(body.distance(self.body) <= TOUCH_M)

    def crowded(self, ink: BaseGeometry, body: BaseGeometry, /) -> list[BaseGeometry]:
        """The parts of a wall that lie too near; of one that meets the line only what is apart of that place."""
        if ink.distance(self.zone) > 0:
            return []
        if not self.meets(body):
            return [part for part in shapely.get_parts(shapely.intersection(ink, self.zone)) if part.area > 0]
        parts = shapely.get_parts(shapely.intersection(body, self.zone))
        return [part for part in parts if part.distance(self.body) > TOUCH_M]


def _thin(line: BaseGeometry, symbol: Symbol) -> BaseGeometry:
    """What the line itself covers: lines meet where these touch, whatever their dots and tags do."""
    return shapely.buffer(line, symbol.ground_m("line_mm") / 2, cap_style="flat")


def _off(line: BaseGeometry, others: list[Beside], symbol: Symbol) -> tuple[BaseGeometry, float]:
    """A wall moved, else trimmed, so that it keeps off others; and how far it was moved.

    It is not moved to where it meets another: two walls would print as one.
    """
    ink, body = line_ink(symbol, line), _thin(line, symbol)
    if not any(other.crowded(ink, body) for other in others):
        return line, 0.0
    for step in steps_to_try(FARTHEST_M):
        there = affinity.translate(ink, *step), affinity.translate(body, *step)
        if not any(other.crowded(*there) or other.meets(there[1]) > other.meets(body) for other in others):
            return affinity.translate(line, *step), float(np.hypot(*step))
    half_m = half_line_m(symbol)
    crowded = [shapely.buffer(part, half_m) for other in others for part in other.crowded(ink, body)]
    rest = shapely.get_parts(shapely.line_merge(shapely.difference(line, shapely.union_all(crowded)), directed=True))
    return shapely.MultiLineString([part for part in rest if not part.length < symbol.smallest.length_m]), 0.0


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
