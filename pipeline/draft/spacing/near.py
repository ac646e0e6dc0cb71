"""Vertices of lines looked up by squares: which lie near to which.

A tree of places would answer the same, ten times as slowly: vertices stand a metre apart, so a few squares hold all
that is asked for, and most questions end with the first vertex that is looked at.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorth

Numbers = NDArray[np.int64]
Metres = NDArray[np.float64]


@dataclass(frozen=True)
class Squares:
    """Places sorted by the squares that they lie in.

    Attributes
    ----------
    side_m : side of a square
    corner : (2,) metres, south-west corner of the lattice of squares
    columns : squares in a row; the first and the last of each row are empty, so that neighbours never wrap
    key : (n,) rising, the number of the square of each place: row times `columns` plus column
    number : (n,) which place it is of those given
    places : (n, 2) metres, in the order of `key`
    """

    side_m: float
    corner: NDArray[np.float64]
    columns: int
    key: Numbers
    number: Numbers
    places: EastNorth

    @classmethod
    def of(cls, places: EastNorth, /, *, side_m: float) -> Squares:
        """The squares of some places; in one square they keep their order."""
        if not len(places):
            return cls(side_m, np.zeros(2), 3, np.empty(0, np.int64), np.empty(0, np.int64), places)
        # One square more on every side: what is looked for in the squares around the first is no negative number.
        corner = places.min(axis=0) - side_m
        square = np.floor((places - corner) / side_m).astype(np.int64)
        columns = int(square[:, 0].max()) + 2
        key = square[:, 1] * columns + square[:, 0]
        number = np.argsort(key, kind="stable")
        return cls(side_m, corner, columns, key[number], number, np.ascontiguousarray(places[number]))

    def only(self, chosen: NDArray[np.bool_], /) -> Squares:
        """Those of the places that are chosen; they keep their numbers."""
        kept = chosen[self.number]
        return Squares(self.side_m, self.corner, self.columns, self.key[kept], self.number[kept], self.places[kept])

    def have_near(self, places: EastNorth, /) -> NDArray[np.bool_]:
        """(k,) bool: which of other places lie nearer than the side of a square to one of these."""
        found = np.zeros(len(places), np.bool_)
        _have_near(np.ascontiguousarray(places), self.side_m, self.corner, self.columns, self.key, self.places, found)
        return found

    def nearest_other_m(self, lines: Numbers, places: EastNorth, own: Numbers, /, *, reach_m: float) -> Metres:
        """(k,) metres from each of other places to the nearest of these that is of another line; infinite beyond reach.

        Parameters
        ----------
        lines : (n,) the line of each place, by its number
        places, own : (k, 2) metres and (k,) their lines
        """
        found = np.full(len(places), np.inf)
        held = self.side_m, self.corner, self.columns, self.key, self.places
        _nearest_other(*held, lines[self.number], np.ascontiguousarray(places), own, reach_m, found)
        return found


@compiled
def _square_of(place: NDArray[np.float64], side_m: float, corner: NDArray[np.float64]) -> tuple[int, int]:
    """Column and row of the square of a place."""
    return int(np.floor((place[0] - corner[0]) / side_m)), int(np.floor((place[1] - corner[1]) / side_m))


@compiled
def _have_near(
    asked: EastNorth,
    side_m: float,
    corner: NDArray[np.float64],
    columns: int,
    key: Numbers,
    places: EastNorth,
    found: NDArray[np.bool_],
) -> None:
    for i in range(len(asked)):
        col, row = _square_of(asked[i], side_m, corner)
        if col < 0 or col >= columns:
            continue
        for r in range(row - 1, row + 2):
            first = r * columns + col - 1
            k = np.searchsorted(key, first)
            while not found[i] and k < len(key) and key[k] <= first + 2:
                east, north = places[k, 0] - asked[i, 0], places[k, 1] - asked[i, 1]
                found[i] = east * east + north * north < side_m * side_m
                k += 1


@compiled
def _nearest_other(
    side_m: float,
    corner: NDArray[np.float64],
    columns: int,
    key: Numbers,
    places: EastNorth,
    lines: Numbers,
    asked: EastNorth,
    own: Numbers,
    reach_m: float,
    found: Metres,
) -> None:
    """Rings of squares around each place are searched until what lies in the next cannot be nearer."""
    rings = int(np.ceil(reach_m / side_m))
    for i in range(len(asked)):
        col, row = _square_of(asked[i], side_m, corner)
        least = reach_m * reach_m
        for ring in range(rings + 1):
            # All that lies in this ring of squares is at least so far away.
            off_m = (ring - 1) * side_m
            if ring > 1 and off_m * off_m >= least:
                break
            for r in range(row - ring, row + ring + 1):
                step = 1 if r == row - ring or r == row + ring else 2 * max(ring, 1)
                for c in range(col - ring, col + ring + 1, step):
                    if c < 1 or c > columns - 2:
                        continue
                    k = np.searchsorted(key, r * columns + c)
                    while k < len(key) and key[k] == r * columns + c:
                        if lines[k] != own[i]:
                            east, north = places[k, 0] - asked[i, 0], places[k, 1] - asked[i, 1]
                            square_m2 = east * east + north * north
                            if square_m2 < least:
                                least = square_m2
                                found[i] = np.sqrt(square_m2)
                        k += 1
