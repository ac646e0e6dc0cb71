"""Contours bent so that they keep off each other and off the point symbols beside them.

Lines are pushed apart in small steps, each push spread along the line, until all gaps are kept or the line has been
moved as far as the norm lets a contour be off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.draft.spacing.extent import gap_m, half_line_m
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
SPARE_M = 0.2
"""What is kept beyond the least gap, as the line is thinned afterwards: 0.01 mm of map (our choice)."""
ZONE_M = 20.0
"""Length of line beside a place with too little room that may move (our choice): what a push is spread over."""
FLANK_WAYS = 3.0
"""Way along a line over the distance across, from which two places of it lie on the two flanks of a spur or
re-entrant: what the audit asks too (our choice)."""
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
    zone = _zone(threads, needs, marks, marks_gap_m, tree)
    if not zone.any():
        return lines
    first, second, _, _ = needs.shortages(threads, threads.places, np.flatnonzero(zone))
    flanks = np.unique(np.concatenate([first, second])[np.tile(threads.line[first] == threads.line[second], 2)])
    may_move_m = _may_move_m(threads, numbers, zone)
    if len(flanks):
        may_move_m = np.where(_within(threads.places, flanks, FLANK_ZONE_M), MOUTH_M, may_move_m)
    moved = threads.places.copy()
    busy = zone
    for _ in range(ROUNDS):
        push = needs.pushes(threads, moved, busy) + _off_marks(needs, moved, busy, marks, marks_gap_m, tree)
        if not push.any():
            break
        step = _capped(threads, moved + np.where(zone[:, None], threads.spread(push), 0.0), may_move_m)
        still = np.hypot(*(step - moved).T) > STILL_M
        moved = step
        if not still.any():
            break
        busy = zone & _within(threads.places, np.flatnonzero(still), ZONE_M / 2)
    return np.array(_untangled(lines, threads, moved), np.object_)


@dataclass(frozen=True)
class Needs:
    """How far vertices must keep from those of other lines, and of other parts of their own.

    Attributes
    ----------
    half_m : (n,) float64, half the width of the line
    gap_m : (n,) float64, white to be kept
    mouth_m : (n,) float64, least distance of two flanks; 0 where the norm names none
    """

    half_m: NDArray[np.float64]
    gap_m: NDArray[np.float64]
    mouth_m: NDArray[np.float64]

    @classmethod
    def of(cls, threads: Threads, numbers: NDArray[np.str_], symbols: SymbolTable, /) -> Needs:
        """From the figures of the norm."""
        half = np.array([half_line_m(symbols[text]) for text in numbers])
        gap = np.array([gap_m(symbols[text]) for text in numbers])
        with_mouth = [symbols[text].has("min_mouth_mm") for text in numbers]
        mouth = np.array(
            [
                symbols[text].ground_m("min_mouth_mm") if has else 0.0
                for text, has in zip(numbers, with_mouth, strict=True)
            ]
        )
        return cls(half[threads.line], gap[threads.line], mouth[threads.line])

    @property
    def farthest_m(self) -> float:
        """The largest distance asked for."""
        return float(max((2 * self.half_m + self.gap_m).max(), self.mouth_m.max())) + SPARE_M

    def shortages(
        self, threads: Threads, places: EastNorth, chosen: NDArray[np.intp], /
    ) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.float64], NDArray[np.float64]]:
        """Pairs of the chosen vertices that are too near to each other, how far apart they are, and what is asked."""
        pairs = chosen[cKDTree(places[chosen]).query_pairs(self.farthest_m, output_type="ndarray")]
        first, second = pairs[:, 0], pairs[:, 1]
        apart = np.hypot(*(places[first] - places[second]).T)
        other = threads.line[first] != threads.line[second]
        asked = self.half_m[first] + self.half_m[second] + np.minimum(self.gap_m[first], self.gap_m[second])
        way = np.abs(threads.along_m[first] - threads.along_m[second])
        length = threads.length_m[threads.line[first]]
        way = np.where(threads.closed[threads.line[first]], np.minimum(way, length - way), way)
        mouth = self.mouth_m[first]
        asked = np.where(other, asked, np.where(way > FLANK_WAYS * mouth, mouth, 0.0)) + SPARE_M
        short = (apart < asked) & (other | (way > FLANK_WAYS * np.maximum(mouth, 1e-9)) & (mouth > 0))
        return first[short], second[short], apart[short], asked[short]

    def pushes(self, threads: Threads, places: EastNorth, zone: NDArray[np.bool_], /) -> EastNorth:
        """(n, 2) half of what each vertex lacks, away from the nearest other line."""
        first, second, apart, asked = self.shortages(threads, places, np.flatnonzero(zone))
        push = np.zeros_like(places)
        if not len(first):
            return push
        at = np.concatenate([first, second])
        by = np.concatenate([second, first])
        lack = np.tile((asked - apart) / 2, 2)
        # The nearest of several decides: written last, it stays.
        order = np.argsort(lack, kind="stable")
        at, by, lack = at[order], by[order], lack[order]
        way = places[at] - places[by]
        push[at] = way / np.maximum(np.hypot(*way.T), 1e-6)[:, None] * lack[:, None]
        return push


def _zone(
    threads: Threads,
    needs: Needs,
    marks: NDArray[np.object_],
    marks_gap_m: NDArray[np.float64],
    tree: shapely.STRtree,
) -> NDArray[np.bool_]:
    """(n,) bool: vertices within `ZONE_M` of a place with too little room."""
    everywhere = np.ones(len(threads.places), np.bool_)
    near_marks = _off_marks(needs, threads.places, everywhere, marks, marks_gap_m, tree).any(axis=1)
    first, second, _, _ = needs.shortages(threads, threads.places, np.flatnonzero(everywhere))
    seeds = np.unique(np.concatenate([first, second, np.flatnonzero(near_marks)]))
    if not len(seeds):
        return np.zeros(len(threads.places), np.bool_)
    return _within(threads.places, seeds, ZONE_M)


def _within(places: EastNorth, seeds: NDArray[np.intp], reach_m: float) -> NDArray[np.bool_]:
    """(n,) bool: places within reach of some of them."""
    far_m, _ = cKDTree(places[seeds]).query(places, distance_upper_bound=reach_m)
    return np.asarray(np.isfinite(far_m))


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
    is_contour = (numbers != FORM_LINE)[threads.line]
    reach_m = FARTHEST_M / SHIFT_SHARE
    for number in np.unique(threads.line[zone]).tolist():
        at = threads.of_line(number)
        rows = np.arange(at.start, at.stop)[zone[at]]
        places = threads.places[rows]
        others = np.flatnonzero(is_contour & (threads.line != number))
        inside = np.all(
            (threads.places[others] > places.min(axis=0) - reach_m)
            & (threads.places[others] < places.max(axis=0) + reach_m),
            axis=1,
        )
        if inside.any():
            far_m, _ = cKDTree(threads.places[others[inside]]).query(places)
            may[rows] = np.minimum(SHIFT_SHARE * far_m, FARTHEST_M)
    return may


def _capped(threads: Threads, moved: EastNorth, may_move_m: NDArray[np.float64]) -> EastNorth:
    """The vertices, none farther from where it was than it may be."""
    off = moved - threads.places
    length = np.hypot(*off.T)
    capped: EastNorth = threads.places + off * np.minimum(1.0, may_move_m / np.maximum(length, 1e-9))[:, None]
    return capped
