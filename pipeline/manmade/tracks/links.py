"""Gaps between crests bridged by courses of least cost."""

from __future__ import annotations

import heapq

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.compiled import compiled
from pipeline.lattice.grid import Heights, Mask

FLOOR_COST = 0.12
"""Strength that is added to that of each cell before its reciprocal is taken for the cost of a metre: ground that shows
nothing costs about eight times as much as a clear course (our choice)."""


def bridges(chains: Mask, strength: Heights, /, *, cell_m: float, most_cost: float) -> Mask:
    """(rows, cols) bool: cells of the cheapest courses between chains near each other, one for each pair.

    From all chains at once a front goes out (Dijkstra 1959, Numerische Mathematik 1, 269-271); where the fronts of two
    chains meet, the way back to both is a course between them.

    Parameters
    ----------
    chains : cells of crests
    strength : what speaks for a course through each cell
    most_cost : metres of a course that shows as much as 1 - FLOOR_COST, that a bridge may cost at most
    """
    label, n = ndimage.label(chains, np.ones((3, 3), bool))
    cost = (cell_m / (strength + FLOOR_COST)).astype(np.float64)
    reached, owner, source = _spread(label.astype(np.int64), cost, most_cost / 2)
    meetings = _meetings(reached, owner, cost, most_cost)
    found = np.zeros(chains.size, np.bool_)
    if not len(meetings):
        return found.reshape(chains.shape)
    # The cheapest meeting of each pair of chains.
    order = np.argsort(meetings[:, 2], kind="stable")
    one, two = meetings[order, 0].astype(np.int64), meetings[order, 1].astype(np.int64)
    pair = np.minimum(owner[one], owner[two]) * (n + 1) + np.maximum(owner[one], owner[two])
    _, first = np.unique(pair, return_index=True)
    for k in first:
        for cell in (one[k], two[k]):
            at = int(cell)
            while at >= 0:
                found[at] = True
                at = int(source[at])
    return found.reshape(chains.shape) & ~chains


@compiled
def _spread(
    label: NDArray[np.int64], cost: NDArray[np.float64], most: float
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]:
    """Cost to the nearest chain, which that is, and the next cell on the way to it (-1 in it); each (cells,)."""
    rows, cols = label.shape
    reached = np.full(rows * cols, np.inf)
    owner = np.zeros(rows * cols, np.int64)
    source = np.full(rows * cols, -1, np.int64)
    queue = [(0.0, np.int64(-1))]
    for row in range(rows):
        for col in range(cols):
            if label[row, col]:
                at = np.int64(row * cols + col)
                reached[at] = 0
                owner[at] = label[row, col]
                heapq.heappush(queue, (0.0, at))
    while queue:
        spent, at = heapq.heappop(queue)
        if at < 0 or spent > reached[at]:
            continue
        row, col = at // cols, at % cols
        for down in range(-1, 2):
            for right in range(-1, 2):
                r, c = row + down, col + right
                if (down == 0 and right == 0) or r < 0 or c < 0 or r >= rows or c >= cols:
                    continue
                step = np.sqrt(float(down * down + right * right)) * 0.5 * (cost[row, col] + cost[r, c])
                total = spent + step
                other = np.int64(r * cols + c)
                if total < reached[other] and total <= most:
                    reached[other] = total
                    owner[other] = owner[at]
                    source[other] = at
                    heapq.heappush(queue, (total, other))
    return reached, owner, source


@compiled
def _meetings(
    reached: NDArray[np.float64], owner: NDArray[np.int64], cost: NDArray[np.float64], most: float
) -> NDArray[np.float64]:
    """(k, 3) two cells side by side that were reached from two chains, and the cost of the course through both."""
    rows, cols = cost.shape
    found = []
    for row in range(rows):
        for col in range(cols):
            at = row * cols + col
            if owner[at] == 0:
                continue
            for down, right in ((0, 1), (1, -1), (1, 0), (1, 1)):
                r, c = row + down, col + right
                if c < 0 or c >= cols or r >= rows:
                    continue
                other = r * cols + c
                if owner[other] == 0 or owner[other] == owner[at]:
                    continue
                step = np.sqrt(float(down * down + right * right)) * 0.5 * (cost[row, col] + cost[r, c])
                total = reached[at] + reached[other] + step
                if total <= most:
                    found.append((float(at), float(other), total))
    many = np.empty((len(found), 3))
    for k in range(len(found)):
        many[k, 0], many[k, 1], many[k, 2] = found[k]
    return many
