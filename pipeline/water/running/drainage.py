"""Where water runs over the ground: which neighbour each cell drains to, and what gathers on the way."""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.compiled import compiled

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
    ground = np.isfinite(padded)
    rim = np.flatnonzero(ground & ndimage.binary_dilation(~ground, np.ones((3, 3), bool)))
    receiver = np.full(padded.size, -1, np.int64)
    order = np.empty(np.count_nonzero(ground), np.int64)
    is_taken = ~ground.ravel()
    is_taken[rim] = True
    steps = np.array([down * (cols + 2) + right for down, right in NEIGHBOURS])
    _flood(padded.ravel(), rim, steps, is_taken, receiver, order)
    return _without_rim(receiver, order, cols + 2, cols)


@compiled
def _flood(
    heights: NDArray[np.float64],
    rim: NDArray[np.int64],
    steps: NDArray[np.int64],
    is_taken: NDArray[np.bool_],
    receiver: NDArray[np.int64],
    order: NDArray[np.int64],
) -> None:
    """Take cell after cell, from the rim inwards; fills `receiver` and `order`. `steps` lead to the neighbours."""
    queue = [(heights[at], at) for at in rim]
    heapq.heapify(queue)
    count = 0
    while len(queue) > 0:
        height, at = heapq.heappop(queue)
        order[count] = at
        count += 1
        for step in steps:
            near = at + step
            if not is_taken[near]:
                is_taken[near] = True
                receiver[near] = at
                heapq.heappush(queue, (max(heights[near], height), near))


def _without_rim(receiver: NDArray[np.int64], order: NDArray[np.int64], width: int, cols: int) -> Drainage:
    """The drainage in flat indices of the grid without the ring of cells around it."""

    def inner(at: NDArray[np.int64]) -> NDArray[np.int64]:
        return np.where(at < 0, -1, (at // width - 1) * cols + at % width - 1)

    full = inner(receiver.reshape(-1, width)[1:-1, 1:-1]).ravel()
    return Drainage(full, inner(order))


def gathered(drainage: Drainage) -> NDArray[np.int64]:
    """(n,) how many cells drain to each, itself among them."""
    total = np.ones(len(drainage.receiver), np.int64)
    _gather(drainage.receiver, drainage.order, total)
    return total


@compiled
def _gather(receiver: NDArray[np.int64], order: NDArray[np.int64], total: NDArray[np.int64]) -> None:
    """Add to each cell what the cells that drain to it have gathered."""
    for at in order[::-1]:
        if receiver[at] >= 0:
            total[receiver[at]] += total[at]


def downstream(drainage: Drainage, starts: NDArray[np.int64]) -> NDArray[np.bool_]:
    """(n,) bool: some cells and all that water runs through from there on."""
    passed = np.zeros(len(drainage.receiver), bool)
    for start in starts.tolist():
        at = start
        while at >= 0 and not passed[at]:
            passed[at] = True
            at = int(drainage.receiver[at])
    return passed
