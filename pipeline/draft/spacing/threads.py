"""Contours as threads of closely set vertices, so that they can be pushed a little and be read back as lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorth

Shares = NDArray[np.float64]

STEP_M = 1.0
"""Distance of the vertices of a thread (our choice): a quarter of what two contours keep between them."""
SMOOTH_M = 4.0
"""How far along a line a push is spread, as the deviation of a bell (our choice): a bend is some 15 m long."""
BELL_STEPS = int(4.0 * SMOOTH_M / STEP_M + 0.5)
"""Vertices on either side that a push is spread to: four deviations of the bell."""
FULL_SHARE = 0.3
"""Share of pushed vertices under the bell from which the mean push is given in full (our choice); fewer, at the end of
a pushed stretch, give less, so that the line comes back smoothly."""
THIN_M = 0.15
"""Vertices that change a pushed line by less than this are left out: a hundredth of a millimetre of map."""
UNMOVED_M = 0.01
"""A vertex pushed by less stays where it was."""


@dataclass(frozen=True)
class Threads:
    """Lines with a vertex every `STEP_M` or less.

    Attributes
    ----------
    places : (n, 2) float64, metres: the vertices of all lines, one line after the other
    line : (n,) int64, which line
    along_m : (n,) float64, metres from the line's beginning
    is_own : (n,) bool, vertices that the line had itself
    start : (m + 1,) int64, where each line begins; the last is n
    closed : (m,) bool
    """

    places: EastNorth
    line: NDArray[np.int64]
    along_m: NDArray[np.float64]
    is_own: NDArray[np.bool_]
    start: NDArray[np.int64]
    closed: NDArray[np.bool_]

    @property
    def length_m(self) -> NDArray[np.float64]:
        """(m,) length of each line."""
        return self.along_m[self.start[1:] - 1]

    def of_line(self, number: int, /) -> slice:
        """Where the vertices of a line lie."""
        return slice(int(self.start[number]), int(self.start[number + 1]))

    def only(self, lines: NDArray[np.int64], /) -> tuple[Threads, NDArray[np.int64]]:
        """Some of the lines by their rising numbers, and (k,) numbers that their vertices had."""
        n = np.diff(self.start)[lines]
        start = np.concatenate([[0], np.cumsum(n)]).astype(np.int64)
        line = np.repeat(np.arange(len(lines)), n)
        rows = np.arange(start[-1]) + (self.start[lines] - start[:-1])[line]
        chosen = Threads(self.places[rows], line, self.along_m[rows], self.is_own[rows], start, self.closed[lines])
        return chosen, rows

    def spread(self, push: EastNorth, /) -> EastNorth:
        """(n, 2) pushes of single vertices, spread along their lines so that these bend and do not break.

        Parameters
        ----------
        push : (n, 2) metres; 0 where a vertex is not pushed
        """
        spread = np.zeros_like(push)
        weights = _bell(SMOOTH_M / STEP_M, BELL_STEPS)
        _spread(push, self.start, self.closed, weights, spread)
        return spread

    def read_back(self, number: int, moved: EastNorth, /) -> shapely.LineString:
        """A line through its own vertices where it was not moved, and few others where it was."""
        at = self.of_line(number)
        off_m = np.hypot(*(moved[at] - self.places[at]).T)
        kept = self.is_own[at] | (off_m > UNMOVED_M)
        line = shapely.LineString(moved[at][kept])
        return shapely.LineString(shapely.simplify(line, THIN_M).coords)


def _bell(sigma: float, far: int) -> Shares:
    """(k + 1,) weights of a vertex and of those 1 to k = `far` before or after it.

    The weights of all 2 k + 1 vertices sum to 1.
    """
    weights = np.exp(-0.5 / sigma**2 * np.arange(-far, far + 1) ** 2)
    return np.asarray((weights / weights.sum())[far:])


@compiled
def _spread(
    push: EastNorth, start: NDArray[np.int64], closed: NDArray[np.bool_], weights: Shares, spread: EastNorth
) -> None:
    """Write the mean push under the bell, line by line, where some vertex under it is pushed.

    A ring goes on at its beginning, beyond the ends of a line its end is repeated.
    """
    far = len(weights) - 1
    for line in range(len(closed)):
        begin, end = start[line], start[line + 1]
        # The last vertex of a ring is its first.
        n = end - begin - 1 if closed[line] else end - begin
        under = np.empty(n + 2 * far, np.int64)
        n_before = np.zeros(n + 2 * far + 1, np.int64)
        for k in range(n + 2 * far):
            under[k] = begin + ((k - far) % n if closed[line] else min(max(k - far, 0), n - 1))
            n_before[k + 1] = n_before[k] + (push[under[k], 0] != 0 or push[under[k], 1] != 0)
        for at in range(n):
            if n_before[at + 2 * far + 1] > n_before[at]:
                _mean_push(push, under[at : at + 2 * far + 1], weights, spread[begin + at])
        if closed[line]:
            spread[end - 1] = spread[begin]


@compiled
def _mean_push(push: EastNorth, under: NDArray[np.int64], weights: Shares, mean: Shares) -> None:
    """Write the mean push, east and north, of the vertices under the bell, the middle one of which it is for."""
    far = len(weights) - 1
    middle = under[far]
    is_pushed = push[middle, 0] != 0 or push[middle, 1] != 0
    east, north, share = push[middle, 0] * weights[0], push[middle, 1] * weights[0], is_pushed * weights[0]
    for step in range(far, 0, -1):
        a, b = under[far - step], under[far + step]
        east += (push[a, 0] + push[b, 0]) * weights[step]
        north += (push[a, 1] + push[b, 1]) * weights[step]
        n_pushed = int(push[a, 0] != 0 or push[a, 1] != 0) + int(push[b, 0] != 0 or push[b, 1] != 0)
        share += n_pushed * weights[step]
    mean[0], mean[1] = east / max(share, FULL_SHARE), north / max(share, FULL_SHARE)


def threads_of(lines: NDArray[np.object_], /) -> Threads:
    """The lines with vertices set closely."""
    parts = [_dense(shapely.get_coordinates(line)) for line in lines]
    count = np.array([len(places) for places, _, _ in parts], np.int64)
    return Threads(
        places=np.concatenate([places for places, _, _ in parts]),
        line=np.repeat(np.arange(len(lines)), count),
        along_m=np.concatenate([along for _, along, _ in parts]),
        is_own=np.concatenate([own for _, _, own in parts]),
        start=np.concatenate([[0], np.cumsum(count)]).astype(np.int64),
        closed=shapely.is_closed(lines),
    )


def _dense(own: EastNorth) -> tuple[EastNorth, NDArray[np.float64], NDArray[np.bool_]]:
    """A line's vertices with others set between them, how far along each lies, and which were its own."""
    step = np.diff(own, axis=0)
    length = np.hypot(*step.T)
    n = np.maximum(np.ceil(length / STEP_M), 1).astype(np.int64)
    segment = np.repeat(np.arange(len(step)), n)
    number = np.arange(len(segment)) - np.repeat(np.cumsum(n) - n, n)
    places = np.concatenate([own[segment] + (number / n[segment])[:, None] * step[segment], own[-1:]])
    way = np.concatenate([[0.0], np.cumsum(length)])
    along = np.concatenate([way[segment] + number / n[segment] * length[segment], way[-1:]])
    return places, along, np.concatenate([number == 0, [True]])
