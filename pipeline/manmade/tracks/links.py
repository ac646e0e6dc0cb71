"""Gaps between crests bridged by courses of least cost."""

from __future__ import annotations

import heapq

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.compiled import compiled
from pipeline.lattice.grid import Heights, Mask
from pipeline.manmade.tracks.strips import DIRECTIONS

NOTHING_SHOWS = 0.6
"""Prominence at and below which ground shows nothing of a course (fitted: the median of what no course runs on)."""
LEAST_SHOWN = 0.15
"""What is added to the prominence above NOTHING_SHOWS before its reciprocal is taken for the cost of a metre, so that
ground that shows nothing can be crossed at all, at four times the cost of a sure course (our choice)."""
STRAIGHT_ON_TURN = np.radians(50.0)
"""Turn between a crest and the bridge that goes on from it, radians, above which they are two courses (our choice)."""
LOOK_CELLS = 6
"""Cells along a bridge that tell its direction where it begins (our choice)."""

Cells = NDArray[np.int64]


def bridges(
    chains: Mask, prominence: Heights, direction: NDArray[np.int8], /, *, cell_m: float, most_cost: float
) -> Mask:
    """(rows, cols) bool: cells of the cheapest courses between chains near each other, at most one for each pair.

    From all chains at once a front goes out (Dijkstra 1959, Numerische Mathematik 1, 269-271); where the fronts of two
    chains meet, the way back to both is a course between them. It must go straight on from one of the two at least:
    what leaves both aside is no course but a short cut through noise.

    Parameters
    ----------
    chains : cells of crests
    prominence, direction : of the best curve through each cell
    most_cost : most that a bridge may cost, in metres over ground as prominent as NOTHING_SHOWS + 1 - LEAST_SHOWN
    """
    label, n = ndimage.label(chains, np.ones((3, 3), bool))
    cost = (cell_m / (np.maximum(prominence - NOTHING_SHOWS, 0) + LEAST_SHOWN)).astype(np.float64)
    reached, owner, source = _spread(label.astype(np.int64), cost, most_cost / 2)
    meetings = _meetings(reached, owner, cost, most_cost)
    found = np.zeros(chains.size, np.bool_)
    # The cheapest meeting of each pair of chains.
    order = np.argsort(meetings[:, 2], kind="stable")
    one, two = meetings[order, 0].astype(np.int64), meetings[order, 1].astype(np.int64)
    pair = np.minimum(owner[one], owner[two]) * (n + 1) + np.maximum(owner[one], owner[two])
    for k in np.unique(pair, return_index=True)[1]:
        course = _way(int(one[k]), source)[::-1] + _way(int(two[k]), source)
        if _goes_on(course, direction) or _goes_on(course[::-1], direction):
            found[course] = True
    return found.reshape(chains.shape) & ~chains


def _way(cell: int, source: Cells) -> list[int]:
    """The cells from one back to the chain it was reached from, the chain's own cell last."""
    way = [cell]
    while source[way[-1]] >= 0:
        way.append(int(source[way[-1]]))
    return way


def _goes_on(course: list[int], direction: NDArray[np.int8]) -> bool:
    """Whether a course goes on straight from the chain in whose cell it begins."""
    cols = direction.shape[1]
    end = course[min(LOOK_CELLS, len(course) - 1)]
    up, right = course[0] // cols - end // cols, end % cols - course[0] % cols
    turn = np.arctan2(up, right) - np.pi * direction.flat[course[0]] / DIRECTIONS
    return bool(abs((turn + np.pi / 2) % np.pi - np.pi / 2) <= STRAIGHT_ON_TURN)


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
