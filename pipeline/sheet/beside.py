"""Words put beside places on a page: close by where there is room, else a little off with a thin line to the place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.sheet.page.page import Box

SIDES = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (1, -1), (-1, 1), (-1, -1))
"""Where words may stand close to a place, the best first: to its right, to its left, above, below, at its corners."""
APART_MM = 0.4
"""White between words and the symbol or ring they belong to (our choice)."""
FARTHER_MM = (2.5, 4.0, 6.0, 8.5)
"""How far off words may stand with a line to their place, beyond what lies about it (our choice)."""
WAYS = 16
"""Directions that are tried at each of these distances (our choice)."""
STEP_MM = 0.5
"""A line keeps off words that stand already; places along it are asked about at this distance (our choice)."""

Corners = NDArray[np.float64]
"""(n, 4) left, bottom, right and top of boxes, millimetres of the page."""
Place = tuple[float, float]


@dataclass(frozen=True)
class Written:
    """Where words stand.

    Attributes
    ----------
    box : what the words take
    line : from the place to the words, where they stand off it
    """

    box: Box
    line: tuple[Place, Place] | None = None


class Room:
    """What of a page is taken: by symbols, which lines may cross, and by words, which they may not."""

    def __init__(self, page: Box, symbols: Corners) -> None:
        self.page = page
        self.symbols = symbols.reshape(-1, 4)
        self.words = np.empty((0, 4))

    def put(self, place: Place, width_mm: float, height_mm: float, /, *, clear_mm: float) -> Written | None:
        """Where words of this size stand beside a place, from now on taken; None where there is no room.

        Parameters
        ----------
        clear_mm : half the side of what is drawn at the place itself
        """
        here = np.array(place)
        size = np.array([width_mm, height_mm])
        close = _around(here, np.array(SIDES, np.float64), size, clear_mm + APART_MM)
        free = np.flatnonzero(self._is_free(close))
        if len(free):
            return self._take(close[free[0]])
        angle = 2 * np.pi * np.arange(WAYS) / WAYS
        ways = np.column_stack((np.cos(angle), np.sin(angle)))
        for off_mm in FARTHER_MM:
            boxes = _around(here, ways, size, clear_mm + off_mm)
            for at in np.flatnonzero(self._is_free(boxes)).tolist():
                start, end = here + ways[at] * clear_mm, np.clip(here, boxes[at, :2], boxes[at, 2:])
                beads = _beads(start, end)
                if not _overlap(beads, self.words).any():
                    self.words = np.concatenate([self.words, beads])
                    return self._take(boxes[at], (_place(start), _place(end)))
        return None

    def _is_free(self, boxes: Corners) -> NDArray[np.bool_]:
        page = self.page
        is_on = (boxes[:, :2] >= (page.left, page.bottom)).all(axis=1)
        is_on &= (boxes[:, 2:] <= (page.right, page.top)).all(axis=1)
        return np.asarray(is_on & ~_overlap(boxes, self.symbols) & ~_overlap(boxes, self.words))

    def _take(self, box: NDArray[np.float64], line: tuple[Place, Place] | None = None) -> Written:
        self.words = np.concatenate([self.words, box[None, :]])
        left, bottom, right, top = box.tolist()
        return Written(Box(left, bottom, right - left, top - bottom), line)


def squares_about(places: NDArray[np.float64], half_mm: float | NDArray[np.float64], /) -> Corners:
    """Squares of this half side, one for all or (n, 1), about (n, 2) places."""
    return np.column_stack((places - half_mm, places + half_mm))


def _around(here: NDArray[np.float64], ways: NDArray[np.float64], size: NDArray[np.float64], off_mm: float) -> Corners:
    """A box of this size in each direction, its nearest edge so far off."""
    middle = here + ways * (off_mm + size / 2)
    return np.column_stack((middle - size / 2, middle + size / 2))


def _beads(start: NDArray[np.float64], end: NDArray[np.float64]) -> Corners:
    """Little squares along a line, its end at the words left out."""
    n = max(int(np.hypot(*(end - start)) / STEP_MM), 1)
    return squares_about(start + (np.arange(n) / n)[:, None] * (end - start), STEP_MM / 4)


def _overlap(boxes: Corners, others: Corners) -> NDArray[np.bool_]:
    """(n,) bool: boxes that share room with some of the others."""
    apart = (boxes[:, None, :2] >= others[None, :, 2:]) | (boxes[:, None, 2:] <= others[None, :, :2])
    meet = np.asarray(~apart.any(axis=2), np.bool_)
    return np.asarray(meet.any(axis=1))


def _place(point: NDArray[np.float64]) -> Place:
    return float(point[0]), float(point[1])
