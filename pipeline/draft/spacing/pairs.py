"""Which vertices of contours may come too near to each other: found once, then asked in every round of pushing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.draft.spacing.extent import gap_m, half_line_m
from pipeline.draft.spacing.near import Squares
from pipeline.draft.spacing.threads import STEP_M, Threads
from pipeline.lattice.grid import EastNorth
from pipeline.norm.symbols import SymbolTable

SPARE_M = 0.2
"""What is kept beyond the least gap, as the line is thinned afterwards: 0.01 mm of map (our choice)."""
FLANK_WAYS = 3.0
"""Way along a line over the distance across, from which two places of it lie on the two flanks of a spur or
re-entrant: what the audit asks too (our choice)."""
SQUARE_M = 10.0
"""Side of the squares in which the next contour is looked for; decides speed alone."""
EXPECTED_PAIRS = 8
"""Pairs for each vertex that room is kept for at first; where there are more they are looked for a second time."""
ROUNDING_M = 1e-6
"""By so much may a vertex be moved farther than it may, as lengths are rounded."""


Numbers = NDArray[np.int64]
Metres = NDArray[np.float64]
Room = tuple[NDArray[np.intp], NDArray[np.intp], Metres]


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


@dataclass(frozen=True)
class Pairs:
    """Pairs of vertices that may come too near to each other.

    Attributes
    ----------
    first, second : (k,) numbers of the vertices, the smaller one first, in rising order
    asked_m : (k,) float64, least distance
    """

    first: NDArray[np.intp]
    second: NDArray[np.intp]
    asked_m: NDArray[np.float64]

    @classmethod
    def of(cls, threads: Threads, needs: Needs, chosen: NDArray[np.intp], may_move_m: NDArray[np.float64], /) -> Pairs:
        """Those of the chosen vertices that are too near to each other, or would be if both moved as far as they may.

        Parameters
        ----------
        chosen : (m,) numbers of vertices, rising
        may_move_m : (n,) how far each vertex of the threads may be moved
        """
        reach_m = needs.farthest_m + 2 * float(may_move_m[chosen].max(initial=0.0)) + ROUNDING_M
        squares = Squares.of(threads.places[chosen], side_m=reach_m)
        vertex = chosen[squares.number]
        # Vertices are at most a step apart, so that so many of them along a line are no way to a flank.
        mouth_m = needs.mouth_m[needs.mouth_m > 0]
        beside = int(FLANK_WAYS * mouth_m.min() / STEP_M) - 1 if len(mouth_m) else len(threads.places)

        def find(found: Room) -> int:
            where = squares.columns, squares.key, vertex, threads.line[vertex], beside, squares.places
            lines = threads.line, threads.along_m, threads.length_m, threads.closed
            asks = needs.half_m, needs.gap_m, needs.mouth_m, may_move_m
            return _find_pairs(*where, *lines, *asks, needs.farthest_m, *found)

        room = _room_for_pairs(EXPECTED_PAIRS * len(chosen))
        n = find(room)
        if n > len(room[0]):
            room = _room_for_pairs(n)
            find(room)
        first, second, asked = room[0][:n], room[1][:n], room[2][:n]
        order = np.lexsort((second, first))
        return cls(first[order], second[order], asked[order])

    def pushes(self, places: EastNorth, zone: NDArray[np.bool_], /) -> EastNorth:
        """(n, 2) half of what each vertex lacks, away from the nearest other line; of vertices of the zone alone."""
        push = np.zeros_like(places)
        _push(self.first, self.second, self.asked_m, zone, places, push)
        return push


def _room_for_pairs(n: int) -> Room:
    """Room for so many pairs: first and second vertex, and the least distance."""
    return np.empty(n, np.intp), np.empty(n, np.intp), np.empty(n, np.float64)


@compiled
def _find_pairs(
    columns: int,
    key: Numbers,
    vertex: Numbers,
    line_here: Numbers,
    beside: int,
    places: EastNorth,
    line: Numbers,
    along_m: Metres,
    length_m: Metres,
    closed: NDArray[np.bool_],
    half_m: Metres,
    gap_m: Metres,
    mouth_m: Metres,
    may_move_m: Metres,
    farthest_m: float,
    first: Numbers,
    second: Numbers,
    asked_m: Metres,
) -> int:
    """How many pairs there are; they are written down where there is room for them.

    `columns`, `key` and `places` are those of `Squares`, whose side is the farthest that vertices of a pair are apart;
    `vertex` is the number of each place among the vertices of all lines, `line_here` its line. Two of one line with at
    most `beside` numbers between them make no pair.
    """
    n, above = 0, 0
    for i in range(len(key)):
        while above < len(key) and key[above] < key[i] + columns - 1:
            above += 1
        # Of the squares around only those that come later, so that each pair is met once.
        for k, last in ((i + 1, key[i] + 1), (above, key[i] + columns + 1)):
            while k < len(key) and key[k] <= last:
                if line_here[i] == line_here[k] and abs(vertex[i] - vertex[k]) <= beside:
                    k += 1
                    continue
                east, north = places[i, 0] - places[k, 0], places[i, 1] - places[k, 1]
                square_m2 = east * east + north * north
                a, b = min(vertex[i], vertex[k]), max(vertex[i], vertex[k])
                most_m = farthest_m + may_move_m[a] + may_move_m[b] + 2 * ROUNDING_M
                # Most are farther apart than anything asks, which is told soonest.
                if square_m2 < most_m * most_m:
                    asked = _asked(line, along_m, length_m, closed, half_m, gap_m, mouth_m, a, b)
                    may_be = asked + may_move_m[a] + may_move_m[b] + ROUNDING_M
                    if asked > 0 and np.sqrt(square_m2) < may_be:
                        if n < len(first):
                            first[n], second[n], asked_m[n] = a, b, asked
                        n += 1
                k += 1
    return n


@compiled
def _asked(
    line: Numbers,
    along_m: Metres,
    length_m: Metres,
    closed: NDArray[np.bool_],
    half_m: Metres,
    gap_m: Metres,
    mouth_m: Metres,
    a: int,
    b: int,
) -> float:
    """Least distance of two vertices; 0 for those that follow each other on a line."""
    if line[a] != line[b]:
        return float(half_m[a] + half_m[b] + min(gap_m[a], gap_m[b]) + SPARE_M)
    way = abs(along_m[a] - along_m[b])
    if closed[line[a]]:
        way = min(way, length_m[line[a]] - way)
    is_flank = mouth_m[a] > 0 and way > FLANK_WAYS * mouth_m[a]
    return float(mouth_m[a] + SPARE_M) if is_flank else 0.0


@compiled
def _push(
    first: Numbers, second: Numbers, asked_m: Metres, zone: NDArray[np.bool_], places: EastNorth, push: EastNorth
) -> None:
    """Of several others that are too near to a vertex the nearest decides, of equals the one that comes last."""
    lack = np.zeros(len(first))
    for k in range(len(first)):
        a, b = first[k], second[k]
        if zone[a] and zone[b]:
            lack[k] = asked_m[k] - np.hypot(places[a, 0] - places[b, 0], places[a, 1] - places[b, 1])
    most = np.zeros(len(places))
    by = np.full(len(places), -1)
    for at, other in ((first, second), (second, first)):
        for k in range(len(at)):
            if lack[k] > 0 and lack[k] >= most[at[k]]:
                most[at[k]], by[at[k]] = lack[k], other[k]
    for i in range(len(places)):
        if by[i] >= 0:
            east, north = places[i, 0] - places[by[i], 0], places[i, 1] - places[by[i], 1]
            length = max(np.hypot(east, north), 1e-6)
            push[i, 0] = east / length * (most[i] / 2)
            push[i, 1] = north / length * (most[i] / 2)


def nearest_other_m(
    threads: Threads, others: NDArray[np.bool_], chosen: NDArray[np.intp], /, *, reach_m: float
) -> NDArray[np.float64]:
    """(m,) metres from each chosen vertex to the nearest of another line; infinite where none is within reach.

    Parameters
    ----------
    others : (n,) bool, vertices that are looked for
    """
    squares = Squares.of(threads.places[others], side_m=SQUARE_M)
    places, own = threads.places[chosen], threads.line[chosen]
    return squares.nearest_other_m(threads.line[others], places, own, reach_m=reach_m)
