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
from pipeline.norm.symbols import SymbolTable

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
    lines : (n,) geometries of all features; cliffs where they shall lie, some of several parts, empty where none is left
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
        keeps = [(geometry[other], _keep(number[row], number[other], symbols)) for other in placed]
        others = [(one, keep) for one, keep in keeps if keep and one.distance(geometry[row]) < NEAR_M]
        before = geometry[row]
        geometry[row], moved_m[row] = _with_room(before, others, least_m=symbols[number[row]].smallest.length_m)
        cut_m[row] = before.length - geometry[row].length
        placed.append(row)
    return Parted(geometry, moved_m, np.where(cut_m > SLACK_M, cut_m, 0.0))


@dataclass(frozen=True)
class Keep:
    """What lies between the middles of two obstacles: half of the ink of each, and the white to be kept."""

    ink_m: float
    gap_m: float


def _keep(number: str, other: str, symbols: SymbolTable) -> Keep | None:
    """What a cliff keeps from another obstacle; None where nothing is asked."""
    if PASSABLE in (number, other) and other not in CLIFFS:
        return None
    beside = symbols[other]
    edge_m = beside.ground_m("edge_mm") / 2 if beside.has("edge_mm") else 0.0
    ink_m = half_line_m(symbols[number]) + (half_line_m(beside) if beside.has("line_mm") else edge_m)
    return Keep(ink_m, min(gap_m(symbols[number]), gap_m(beside)) + SLACK_M)


def _with_room(
    line: BaseGeometry, others: list[tuple[BaseGeometry, Keep]], *, least_m: float
) -> tuple[BaseGeometry, float]:
    """A cliff moved, else trimmed, so that it keeps its distance from the others; and how far it was moved."""
    short = [(one, keep) for one, keep in others if _falls_short(line, one, keep)]
    if not short:
        return line, 0.0
    for step in steps_to_try(FARTHEST_M):
        there = affinity.translate(line, *step)
        if not any(_falls_short(there, one, keep) for one, keep in others):
            return there, float(np.hypot(*step))
    beside = shapely.union_all([shapely.buffer(one, keep.ink_m + keep.gap_m) for one, keep in short])
    rest = shapely.get_parts(shapely.line_merge(shapely.difference(line, beside), directed=True))
    return shapely.MultiLineString([part for part in rest if part.length >= least_m]), 0.0


def _falls_short(line: BaseGeometry, other: BaseGeometry, keep: Keep) -> bool:
    """Whether a gap is left that is neither closed nor wide enough."""
    white_m = float(line.distance(other)) - keep.ink_m
    return TOUCH_M < white_m < keep.gap_m
