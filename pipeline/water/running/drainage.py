"""Where water runs over the ground: which neighbour each cell drains to, and what gathers on the way."""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

NEIGHBOURS = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))


@dataclass(frozen=True)
class Drainage:
    """Flow over a grid of coarse cells.

    Attributes
    ----------
    receiver : (n,) int64
        Flat index of the cell that each cell drains to; -1 at the edge of the survey.
    order : (n,) int64
        Cells with ground, each after the cell it drains to.
    """

    receiver: NDArray[np.int64]
    order: NDArray[np.int64]


def drain(heights: NDArray[np.float64], /) -> Drainage:
    """Where each cell drains to, with every hollow led out by its lowest way.

    The priority flood of Barnes, Lehman & Mulla 2014 (Computers & Geosciences 62, 117-127): cells are taken in the
    order of the height water must reach to leave them, so each drains to the lowest of its neighbours that was taken
    before. Ties are broken by position. Ground at the rim of the survey drains out of it.
    """
    rows, cols = heights.shape
    padded = np.full((rows + 2, cols + 2), np.nan)
    padded[1:-1, 1:-1] = heights
    width = cols + 2
    steps = [down * width + right for down, right in NEIGHBOURS]
    level = padded.ravel().tolist()
    taken = np.isnan(padded).ravel().tolist()
    ground = np.isfinite(padded)
    rim = ground & ndimage.binary_dilation(~ground, np.ones((3, 3), bool))
    queue = [(level[at], at) for at in np.flatnonzero(rim).tolist()]
    for _, at in queue:
        taken[at] = True
    heapq.heapify(queue)
    receiver = np.full(padded.size, -1, np.int64)
    order = []
    while queue:
        height, at = heapq.heappop(queue)
        order.append(at)
        for step in steps:
            near = at + step
            if not taken[near]:
                taken[near] = True
                receiver[near] = at
                heapq.heappush(queue, (max(level[near], height), near))
    return _without_rim(receiver, np.asarray(order, np.int64), width, cols)


def _without_rim(receiver: NDArray[np.int64], order: NDArray[np.int64], width: int, cols: int) -> Drainage:
    """The drainage in flat indices of the grid without the ring of cells around it."""

    def inner(at: NDArray[np.int64]) -> NDArray[np.int64]:
        return np.where(at < 0, -1, (at // width - 1) * cols + at % width - 1)

    full = inner(receiver).reshape(-1, width)[1:-1, 1:-1].ravel()
    return Drainage(full, inner(order))


def gathered(drainage: Drainage, own: NDArray[np.float64]) -> NDArray[np.float64]:
    """What each cell receives from itself and all cells above it."""
    total = own.tolist()
    receiver = drainage.receiver.tolist()
    for at in reversed(drainage.order.tolist()):
        below = receiver[at]
        if below >= 0:
            total[below] += total[at]
    return np.asarray(total)
