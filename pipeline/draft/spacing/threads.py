"""Contours as threads of closely set vertices, so that they can be pushed a little and be read back as lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import EastNorth

STEP_M = 1.0
"""Distance of the vertices of a thread (our choice): a quarter of what two contours keep between them."""
SMOOTH_M = 4.0
"""How far along a line a push is spread, as the deviation of a bell (our choice): a bend is some 15 m long."""
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

    def spread(self, push: EastNorth, /) -> EastNorth:
        """(n, 2) pushes of single vertices, spread along their lines so that these bend and do not break.

        Parameters
        ----------
        push : (n, 2) metres; 0 where a vertex is not pushed
        """
        spread = np.zeros_like(push)
        is_pushed = push.any(axis=1)
        for number in np.unique(self.line[is_pushed]).tolist():
            at = self.of_line(number)
            if self.closed[number]:
                at = slice(at.start, at.stop - 1)
            mode: Literal["wrap", "nearest"] = "wrap" if self.closed[number] else "nearest"
            sigma = SMOOTH_M / STEP_M
            share = ndimage.gaussian_filter1d(np.asarray(is_pushed)[at].astype(np.float64), sigma, mode=mode)
            mean = ndimage.gaussian_filter1d(np.asarray(push[at]), sigma, axis=0, mode=mode)
            spread[at] = mean / np.maximum(share, FULL_SHARE)[:, None]
            if self.closed[number]:
                spread[at.stop] = spread[at.start]
        return spread

    def read_back(self, number: int, moved: EastNorth, /) -> shapely.LineString:
        """A line through its own vertices where it was not moved, and few others where it was."""
        at = self.of_line(number)
        off_m = np.hypot(*(moved[at] - self.places[at]).T)
        kept = self.is_own[at] | (off_m > UNMOVED_M)
        line = shapely.LineString(moved[at][kept])
        return shapely.LineString(shapely.simplify(line, THIN_M).coords)


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
