"""Places sorted into square buckets, so that those near a point are found by looking into a few of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]

SIDE_M = 1.0
"""Side of a bucket in metres: a few returns each, and a few buckets about each boulder. Decides speed alone."""


@dataclass(frozen=True)
class Buckets:
    """Places by bucket.

    Attributes
    ----------
    east, north : (n,) metres
    west_col, south_row : place of the first bucket on the lattice of buckets
    shape : rows and columns of buckets
    start : (rows * cols + 1,) where each bucket begins in `held`
    held : (n,) numbers of the places, bucket by bucket, ascending in each
    """

    east: Floats
    north: Floats
    west_col: int
    south_row: int
    shape: tuple[int, int]
    start: Numbers
    held: Numbers

    @classmethod
    def of(cls, east: Floats, north: Floats, /) -> Buckets:
        """The buckets of places."""
        if not len(east):
            return cls(east, north, 0, 0, (0, 0), np.zeros(1, np.int64), np.empty(0, np.int64))
        west_col, south_row = math.floor(east.min() / SIDE_M), math.floor(north.min() / SIDE_M)
        shape = math.floor(north.max() / SIDE_M) - south_row + 1, math.floor(east.max() / SIDE_M) - west_col + 1
        start, held = _sorted_in(east, north, west_col, south_row, shape[0], shape[1])
        return cls(east, north, west_col, south_row, shape, start, held)

    def within(self, east: Floats, north: Floats, radius_m: Floats, /) -> tuple[Numbers, Numbers]:
        """How many places lie within a radius of each of k points, (k,), and their numbers, point by point, ascending.

        Places on the circle count.
        """
        where = self.east, self.north, self.west_col, self.south_row, *self.shape, self.start, self.held
        found = np.zeros(len(east), np.int64)
        _look(*where, east, north, radius_m, found, np.empty(0, np.int64), False)
        numbers = np.empty(int(found.sum()), np.int64)
        _look(*where, east, north, radius_m, found, numbers, True)
        return found, numbers

    def nearest(self, east: Floats, north: Floats, /, *, most_m: float) -> tuple[Floats, Numbers]:
        """Metres to the place nearest to each of k points, (k,), and its number; inf and -1 where none is near enough.

        Of places as near as each other it is the one with the lowest number.
        """
        where = self.east, self.north, self.west_col, self.south_row, *self.shape, self.start, self.held
        return _nearest(*where, east, north, most_m)


@compiled
def _sorted_in(
    east: Floats, north: Floats, west_col: int, south_row: int, rows: int, cols: int
) -> tuple[Numbers, Numbers]:
    """Where each bucket begins, and the numbers of the places, bucket by bucket."""
    start = np.zeros(rows * cols + 1, np.int64)
    bucket = np.empty(len(east), np.int64)
    for i in range(len(east)):
        col, row = math.floor(east[i] / SIDE_M) - west_col, math.floor(north[i] / SIDE_M) - south_row
        bucket[i] = row * cols + col
        start[bucket[i] + 1] += 1
    for at in range(rows * cols):
        start[at + 1] += start[at]
    free, held = start[:-1].copy(), np.empty(len(east), np.int64)
    for i in range(len(east)):
        held[free[bucket[i]]] = i
        free[bucket[i]] += 1
    return start, held


@compiled
def _look(
    east: Floats,
    north: Floats,
    west_col: int,
    south_row: int,
    rows: int,
    cols: int,
    start: Numbers,
    held: Numbers,
    at_east: Floats,
    at_north: Floats,
    radius_m: Floats,
    found: Numbers,
    numbers: Numbers,
    is_second: bool,
) -> None:
    """First count the places near each point into `found`, then, a second time, write down their numbers."""
    end = 0
    for point in range(len(at_east)):
        e, n, r = at_east[point], at_north[point], radius_m[point]
        begin = end
        first_col = max(0, math.floor((e - r) / SIDE_M) - west_col)
        last_col = min(cols - 1, math.floor((e + r) / SIDE_M) - west_col)
        for row in range(
            max(0, math.floor((n - r) / SIDE_M) - south_row),
            min(rows - 1, math.floor((n + r) / SIDE_M) - south_row) + 1,
        ):
            if first_col > last_col:
                continue
            # Buckets side by side in a row stand one after the other.
            for at in range(start[row * cols + first_col], start[row * cols + last_col + 1]):
                i = held[at]
                d_east, d_north = east[i] - e, north[i] - n
                if d_east * d_east + d_north * d_north <= r * r:
                    if is_second:
                        numbers[end] = i
                    end += 1
        if is_second:
            numbers[begin:end].sort()
        else:
            found[point] = end - begin


@compiled
def _nearest(
    east: Floats,
    north: Floats,
    west_col: int,
    south_row: int,
    rows: int,
    cols: int,
    start: Numbers,
    held: Numbers,
    at_east: Floats,
    at_north: Floats,
    most_m: float,
) -> tuple[Floats, Numbers]:
    """As `Buckets.nearest`: rings of buckets around the point are searched until no ring farther out can be nearer."""
    distance_m, number = np.full(len(at_east), np.inf), np.full(len(at_east), -1, np.int64)
    for point in range(len(at_east)):
        e, n = at_east[point], at_north[point]
        col, row = math.floor(e / SIDE_M) - west_col, math.floor(n / SIDE_M) - south_row
        best, found = most_m * most_m, -1
        ring = 0
        # All places in this ring and beyond are at least so far away, as the point may lie at the rim of its bucket.
        while (ring - 1) * SIDE_M <= 0 or ((ring - 1) * SIDE_M) ** 2 <= best:
            for r in range(max(0, row - ring), min(rows - 1, row + ring) + 1):
                step = 1 if abs(r - row) == ring else max(1, 2 * ring)
                for c in range(col - ring, col + ring + 1, step):
                    if c < 0 or c >= cols:
                        continue
                    for at in range(start[r * cols + c], start[r * cols + c + 1]):
                        i = held[at]
                        d_east, d_north = east[i] - e, north[i] - n
                        square = d_east * d_east + d_north * d_north
                        if square < best or (square == best and (found < 0 or i < found)):
                            best, found = square, i
            ring += 1
        if found >= 0:
            distance_m[point], number[point] = np.sqrt(best), found
    return distance_m, number
