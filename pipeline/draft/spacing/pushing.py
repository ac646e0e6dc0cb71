"""Vertices of contours pushed off each other and off marks, in groups that have nothing to do with each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.draft.spacing.groups import groups_of
from pipeline.draft.spacing.near import Squares
from pipeline.draft.spacing.pairs import ROUNDING_M, SPARE_M, Pairs
from pipeline.draft.spacing.threads import BELL_STEPS, Threads
from pipeline.lattice.grid import EastNorth
from pipeline.remembered import Remembered, packed

ROUNDS = 60
"""Most rounds of pushing (our choice): most places are settled after ten."""
BUSY_M = 10.0
"""A vertex is looked at again as long as one that is so near still moves: more than any two keep apart (our choice)."""
STILL_M = 0.02
"""A round that moves a vertex by less than this brings nothing more (our choice)."""

LATTICE_M = 16.0
"""Side of the squares in which vertices near marks are looked for at first; decides speed alone."""

Numbers = NDArray[np.int64]
Metres = NDArray[np.float64]
Number = TypeVar("Number", np.float64, np.int64)


@dataclass(frozen=True)
class Marks:
    """What the symbols beside contours cover, k of them, and the white to be kept from each; they stay where they are.

    Attributes
    ----------
    shapes : (k,) polygons
    gap_m : (k,) float64
    tree : the shapes, to be asked what lies near
    """

    shapes: NDArray[np.object_]
    gap_m: Metres
    tree: shapely.STRtree

    @classmethod
    def of(cls, shapes: NDArray[np.object_], gap_m: Metres, /) -> Marks:
        """The marks with their tree."""
        return cls(shapes, gap_m, shapely.STRtree(shapes))

    def near(self, places: EastNorth, half_m: Metres, more_m: Metres | float, /) -> tuple[Numbers, Numbers]:
        """Which of (k,) vertices of lines half as wide are too near to which marks, or might be if moved by `more_m`.

        Returns
        -------
        Places of the vertices in `places`, rising, and numbers of the marks.
        """
        if not len(self.shapes) or not len(places):
            return np.empty(0, np.int64), np.empty(0, np.int64)
        own_m = half_m + SPARE_M + more_m
        asked = np.flatnonzero(self._around(places, float(self.gap_m.max() + own_m.max())))
        points = np.asarray(shapely.points(places[asked]), np.object_)
        at, mark = self.tree.query(points, predicate="dwithin", distance=self.gap_m.max() + own_m[asked])
        is_near = shapely.distance(points[at], self.shapes[mark]) < self.gap_m[mark] + own_m[asked[at]]
        return asked[at[is_near]], np.asarray(mark[is_near], np.int64)

    def _around(self, places: EastNorth, reach_m: float) -> NDArray[np.bool_]:
        """(k,) bool: places in a square of the lattice that a mark may reach; spares the tree most of them."""
        corner = places.min(axis=0)
        square = ((places - corner) // LATTICE_M).astype(np.int64)
        is_reached = np.zeros(square.max(axis=0) + 1, np.bool_)
        bounds = shapely.bounds(self.shapes) + reach_m * np.array([-1, -1, 1, 1])
        edges = np.maximum((bounds - np.tile(corner, 2)) // LATTICE_M, [-1, -1, -1, -1]).astype(np.int64)
        for west, south, east, north in edges.tolist():
            is_reached[max(west, 0) : east + 1, max(south, 0) : north + 1] = True
        return np.asarray(is_reached[square[:, 0], square[:, 1]], np.bool_)

    def pushes(self, places: EastNorth, half_m: Metres, /) -> EastNorth:
        """(k, 2) half of what each vertex lacks from the nearest mark: away from it, inside it away from its middle."""
        push = np.zeros_like(places)
        at, mark = self.near(places, half_m, 0.0)
        if not len(at):
            return push
        points = np.asarray(shapely.points(places[at]), np.object_)
        asked = self.gap_m[mark] + half_m[at] + SPARE_M
        # Inside a mark the way to its edge is to be gone as well.
        rim = shapely.distance(points, shapely.boundary(self.shapes)[mark])
        is_inside = np.asarray(shapely.intersects(points, self.shapes[mark]), np.bool_)
        nearest = shapely.get_coordinates(shapely.shortest_line(self.shapes[mark], points))[::2]
        middle = shapely.get_coordinates(shapely.centroid(self.shapes))[mark]
        away = places[at] - np.where(is_inside[:, None], middle, nearest)
        length = np.hypot(*away.T)
        lack = np.where(is_inside, asked + rim, asked - rim)
        lack = np.where(lack > 0, lack, 0.0)
        # Of several marks the one that lacks most decides, of equals the last.
        order = np.lexsort((mark, lack))
        way = away / np.maximum(length, 1e-6)[:, None] * lack[:, None] / 2
        push[at[order]] = way[order]
        return push


@dataclass(frozen=True)
class Pushed:
    """What is pushed apart: lines, and those of their vertices that may move.

    Attributes
    ----------
    threads : the lines
    half_m : (n,) half the width of the line at each vertex
    may_move_m : (n,) how far each vertex may be moved
    rows : (k,) numbers of the vertices that may move, rising
    pairs : pairs of them that may come too near to each other
    by_mark : (j,) numbers of those that a mark may push, wherever they have been moved
    """

    threads: Threads
    half_m: Metres
    may_move_m: Metres
    rows: Numbers
    pairs: Pairs
    by_mark: Numbers

    def only(self, chosen: NDArray[np.bool_], /) -> Pushed:
        """What remains of the work where of the vertices that may move only those `chosen`, (k,) bool, do."""
        rows = self.rows[chosen]
        threads, held = self.threads.only(np.unique(self.threads.line[rows]))
        number = np.full(len(self.half_m), -1)
        number[rows] = np.searchsorted(held, rows)
        first, second = number[self.pairs.first], number[self.pairs.second]
        kept = (first >= 0) & (second >= 0)
        pairs = Pairs(first[kept], second[kept], self.pairs.asked_m[kept])
        by_mark = number[self.by_mark]
        return Pushed(threads, self.half_m[held], self.may_move_m[held], number[rows], pairs, by_mark[by_mark >= 0])


def pushed_apart(work: Pushed, marks: Marks, remembered: Remembered, /) -> EastNorth:
    """(n, 2) where the vertices stand when all that may be done is done.

    Parameters
    ----------
    remembered : where the vertices of groups came to stand before
    """
    group = groups_of(work.threads, work.rows, work.pairs, beside_m=BUSY_M)
    made_from = _told(work, marks, group)

    def work_out(numbers: list[int]) -> list[bytes]:
        chosen = np.isin(group, numbers)
        places = _by_group(_pushed(work.only(chosen), marks), group[chosen], len(made_from))
        return [places[number].tobytes() for number in numbers]

    found = remembered("contours pushed apart", made_from, work_out)
    moved = work.threads.places.copy()
    moved[work.rows[np.argsort(group, kind="stable")]] = np.frombuffer(b"".join(found)).reshape(-1, 2)
    return moved


def _told(work: Pushed, marks: Marks, group: Numbers) -> list[bytes]:
    """All that decides where the vertices of each group come to stand."""
    rows, n = work.rows, int(group.max(initial=-1)) + 1
    is_by_mark = np.isin(rows, work.by_mark)
    half_m = np.where(is_by_mark, work.half_m[rows], -1.0)
    vertices = np.column_stack((work.threads.places[rows], work.may_move_m[rows], half_m))
    # A vertex is named by its place in its group.
    place = np.empty(len(rows), np.int64)
    place[np.argsort(group, kind="stable")] = np.concatenate([np.arange(k) for k in np.bincount(group, minlength=n)])
    first, second = np.searchsorted(rows, work.pairs.first), np.searchsorted(rows, work.pairs.second)
    by_mark = np.flatnonzero(is_by_mark)
    more_m = work.may_move_m[rows[by_mark]] + ROUNDING_M
    at, mark = marks.near(work.threads.places[rows[by_mark]], half_m[by_mark], more_m)
    beside = np.unique(np.column_stack((group[by_mark[at]], mark)), axis=0)
    shapes = shapely.to_wkb(marks.shapes)
    tables = (
        _by_group(vertices, group, n),
        _by_group(_on_lines(work.threads, rows), group, n),
        _by_group(np.column_stack((place[first], place[second])), group[first], n),
        _by_group(work.pairs.asked_m, group[first], n),
        _by_group(beside[:, 1], beside[:, 0], n),
    )
    return [
        packed({"vertices": one, "lines": _from_their_first(lines), "pairs": pair, "asked": asked})
        + packed({"gaps": marks.gap_m[near]})
        + b"".join(shapes[near])
        for one, lines, pair, asked, near in zip(*tables, strict=True)
    ]


def _by_group(values: NDArray[Number], group: Numbers, n: int) -> list[NDArray[Number]]:
    """The values of each of n groups, in their order."""
    return np.split(values[np.argsort(group, kind="stable")], np.cumsum(np.bincount(group, minlength=n))[:-1])


def _on_lines(threads: Threads, rows: Numbers) -> Numbers:
    """(k, 5): line of each vertex, its number there, vertices to both ends of the line, and those of a ring.

    Farther from the ends than a push is spread a vertex feels nothing of them; then they are told as so far.
    """
    line = threads.line[rows]
    number, last = rows - threads.start[line], np.diff(threads.start)[line] - 1
    to_ends = np.minimum(np.column_stack((number, last - number)), BELL_STEPS + 1)
    is_round = threads.closed[line] & (to_ends <= BELL_STEPS).any(axis=1)
    return np.column_stack((line, number, to_ends, np.where(is_round, last, 0)))


def _from_their_first(on_lines: Numbers) -> Numbers:
    """Lines numbered from 0 as they are met, and vertices on each from the first that is met."""
    _, begins, line = np.unique(on_lines[:, 0], return_index=True, return_inverse=True)
    told = on_lines.copy()
    told[:, 0], told[:, 1] = line, on_lines[:, 1] - on_lines[begins[line], 1]
    return told


def _pushed(work: Pushed, marks: Marks) -> EastNorth:
    """(k, 2) where the vertices that may move come to stand; what befalls a group does not depend on the others."""
    rows, places = work.rows, work.threads.places
    squares = Squares.of(places[rows], side_m=BUSY_M)
    moved, busy = places.copy(), np.zeros(len(places), np.bool_)
    busy[rows] = True
    for _ in range(ROUNDS):
        push = work.pairs.pushes(moved, busy)
        by_mark = work.by_mark[busy[work.by_mark]]
        push[by_mark] += marks.pushes(moved[by_mark], work.half_m[by_mark])
        if not push.any():
            break
        spread = work.threads.spread(push)[rows]
        # What nothing pushes stays to the last bit, however many rounds others need.
        is_pushed = (spread != 0).any(axis=1)
        there = moved[rows[is_pushed]]
        step = _capped(places[rows[is_pushed]], there + spread[is_pushed], work.may_move_m[rows[is_pushed]])
        moved[rows[is_pushed]] = step
        moves = np.zeros(len(rows), np.bool_)
        moves[is_pushed] = np.hypot(*(step - there).T) > STILL_M
        if not moves.any():
            break
        busy[rows] = squares.only(moves).have_near(places[rows])
    return moved[rows]


def _capped(places: EastNorth, moved: EastNorth, may_move_m: Metres) -> EastNorth:
    """(k, 2) where vertices were moved to, none farther from its place than it may be."""
    off = moved - places
    length = np.hypot(*off.T)
    capped: EastNorth = places + off * np.minimum(1.0, may_move_m / np.maximum(length, 1e-9))[:, None]
    return capped
