"""Where water runs over the ground: which neighbour each cell drains to, and what gathers on the way."""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.compiled import compiled

NEIGHBOURS = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))


NO_SINKS = np.empty(0, np.int64)


@dataclass(frozen=True)
class Drainage:
    """Flow over a grid of coarse cells.

    Attributes
    ----------
    receiver : (n,) int64
        Flat index of the cell that each cell drains to; -1 at the edge of the survey and where water sinks.
    order : (n,) int64
        Cells with ground, each after the cell it drains to.
    """

    receiver: NDArray[np.int64]
    order: NDArray[np.int64]


@dataclass(frozen=True)
class Ranked:
    """Ground whose cells are put in the order in which water reaches them; flat, with a ring of cells around it.

    Attributes
    ----------
    heights : (n,) metres; NaN where unknown
    cell_of : (k,) the known cells, the lowest first, ties by position
    rank : (n,) where each stands in `cell_of`; -1 where unknown
    rim : (m,) cells beside unknown ones and at the rim of the survey
    """

    heights: NDArray[np.float64]
    cell_of: NDArray[np.int32]
    rank: NDArray[np.int32]
    rim: NDArray[np.int64]

    @classmethod
    def of(cls, heights: NDArray[np.float64], /) -> Ranked:
        """The cells of (rows, cols) heights in order."""
        padded = np.pad(heights, 1, constant_values=np.nan)
        ground = np.isfinite(padded)
        rim = np.flatnonzero(ground & ndimage.binary_dilation(~ground, np.ones((3, 3), bool)))
        cells, flat = np.flatnonzero(ground), padded.ravel()
        cell_of = cells[np.argsort(flat[cells], kind="stable")].astype(np.int32)
        rank = np.full(padded.size, -1, np.int32)
        rank[cell_of] = np.arange(len(cell_of), dtype=np.int32)
        return cls(flat, cell_of, rank, rim)


def drain(
    heights: NDArray[np.float64], sinks: NDArray[np.int64] = NO_SINKS, /, *, ranked: Ranked | None = None
) -> Drainage:
    """Where each cell drains to: its steepest way down, and out of hollows by their lowest way.

    The way out of hollows is found by the least-cost search of Metz, Mitasova & Harmon 2011 (Hydrology and Earth System
    Sciences 15, 667-678): of all cells that touch what was taken, the lowest is taken next, and drains to the neighbour
    that it was reached from. It leads over the lowest rim and, within the hollow, along the lowest ground, where the
    bed of a stream is; a priority flood crosses the filled hollow straight. That way is cut down to the height of the
    hollow, and each cell then drains to the neighbour to which the cut ground falls most steeply (O'Callaghan & Mark
    1984, Computer Vision, Graphics, and Image Processing 28, 323-344). Ties are broken by position. Ground at the rim
    of the survey drains out of it.

    Parameters
    ----------
    heights : (rows, cols) metres; NaN where unknown
    sinks : (k,) flat indices of cells in which water goes into the ground
    ranked : of these heights, where that was done before
    """
    cols = heights.shape[1]
    searched = _search(heights, sinks, ranked)
    receiver, order, cut = searched.receiver, searched.order, searched.heights.copy()
    _cut_out(receiver, order, cut)
    away = np.array([math.hypot(down, right) for down, right in NEIGHBOURS])
    _down_steepest(cut, searched.steps, away, receiver, receiver >= 0)
    # Down a slope heights fall, and over level ground the search itself leads: so each follows what it drains to.
    order = order[np.argsort(cut[order], kind="stable")]
    return _without_rim(receiver, order, cols + 2, cols)


def spill_height(
    heights: NDArray[np.float64], sinks: NDArray[np.int64] = NO_SINKS, /, *, ranked: Ranked | None = None
) -> NDArray[np.float64]:
    """(rows, cols) metres to which water must rise in each cell to run off or into a sink; NaN where unknown."""
    rows, cols = heights.shape
    searched = _search(heights, sinks, ranked)
    level = searched.heights.copy()
    _spill(searched.receiver, searched.order, level)
    return level.reshape(rows + 2, cols + 2)[1:-1, 1:-1]


def lower_spill_height(heights: NDArray[np.float64], sinks: NDArray[np.int64], level: NDArray[np.float64], /) -> None:
    """Lower `level` to what `spill_height` gives once water goes into the ground at some more cells.

    Only what lies in the hollow of such a cell can change, so the search goes no further than that.

    Parameters
    ----------
    heights : (rows, cols) metres; NaN where unknown
    sinks : (k,) flat indices of the cells that are added
    level : (rows, cols) what `spill_height` gave without them; changed in place
    """
    _sink(heights, np.unravel_index(sinks, heights.shape)[0], sinks % heights.shape[1], level)


@compiled
def _sink(
    heights: NDArray[np.float64], row: NDArray[np.int64], col: NDArray[np.int64], level: NDArray[np.float64]
) -> None:
    """Take cell after cell whose water now leaves at a lower height, from the new sinks outwards."""
    rows, cols = heights.shape
    queue = [(heights[row[k], col[k]], row[k], col[k]) for k in range(len(row))]
    for at_m, r, c in queue:
        level[r, c] = at_m
    heapq.heapify(queue)
    while len(queue) > 0:
        at_m, r, c = heapq.heappop(queue)
        for near_r in range(max(0, r - 1), min(rows, r + 2)):
            for near_c in range(max(0, c - 1), min(cols, c + 2)):
                through_m = max(at_m, heights[near_r, near_c])
                # Unknown ground has no level: a comparison with NaN is false.
                if through_m < level[near_r, near_c]:
                    level[near_r, near_c] = through_m
                    heapq.heappush(queue, (through_m, near_r, near_c))


class _Searched(NamedTuple):
    """What the least-cost search found; in flat indices of the grid with a ring of cells around it."""

    heights: NDArray[np.float64]
    steps: NDArray[np.int64]
    receiver: NDArray[np.int64]
    order: NDArray[np.int64]


def _search(heights: NDArray[np.float64], sinks: NDArray[np.int64], ranked: Ranked | None) -> _Searched:
    cols = heights.shape[1]
    ground = Ranked.of(heights) if ranked is None else ranked
    receiver = np.full(len(ground.heights), -1, np.int64)
    order = np.empty(len(ground.cell_of), np.int64)
    is_taken = ground.rank < 0
    rim = np.union1d(ground.rim, _outer(sinks, cols))
    is_taken[rim] = True
    steps = np.array([down * (cols + 2) + right for down, right in NEIGHBOURS])
    _flood(ground.rank, ground.cell_of, rim, steps, is_taken, receiver, order)
    return _Searched(ground.heights, steps, receiver, order)


def _outer(at: NDArray[np.int64], cols: int) -> NDArray[np.int64]:
    """Flat indices in the grid with a ring of cells around it."""
    return (at // cols + 1) * (cols + 2) + at % cols + 1


@compiled
def _flood(
    rank: NDArray[np.int32],
    cell_of: NDArray[np.int32],
    rim: NDArray[np.int64],
    steps: NDArray[np.int64],
    is_taken: NDArray[np.bool_],
    receiver: NDArray[np.int64],
    order: NDArray[np.int64],
) -> None:
    """Take cell after cell, from the rim inwards; fills `receiver` and `order`. `steps` lead to the neighbours.

    Which cells wait is kept as one bit for each rank, and for each word of bits one bit of a level above it, up to a
    single word: the lowest of them is found by going down the levels, which takes half as long as a heap.
    """
    waiting, level_at = _no_bits(len(cell_of))
    for at in rim:
        _set_bit(waiting, level_at, rank[at])
    count = 0
    while waiting[0] != 0:
        at = cell_of[_take_lowest(waiting, level_at)]
        order[count] = at
        count += 1
        for step in steps:
            near = at + step
            if not is_taken[near]:
                is_taken[near] = True
                receiver[near] = at
                _set_bit(waiting, level_at, rank[near])


WORD_BITS = 32
"""Bits used of each word of 64 bits, so that no word is ever negative."""


@compiled
def _no_bits(size: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Levels of words without a bit, the top word first, and where each level begins, the lowest level last."""
    n_levels, words = 1, WORD_BITS
    while words < size:
        words *= WORD_BITS
        n_levels += 1
    level_at = np.zeros(n_levels, np.int64)
    total, width = 1, 1
    for level in range(1, n_levels):
        level_at[level] = total
        width *= WORD_BITS
        total += width
    return np.zeros(total, np.int64), level_at


@compiled
def _set_bit(words: NDArray[np.int64], level_at: NDArray[np.int64], number: int) -> None:
    """Set the bit of a number, and of its word in the levels above."""
    for level in range(len(level_at) - 1, -1, -1):
        word = level_at[level] + number // WORD_BITS
        before = words[word]
        words[word] = before | (1 << (number % WORD_BITS))
        if before != 0:
            break
        number = number // WORD_BITS


@compiled
def _take_lowest(words: NDArray[np.int64], level_at: NDArray[np.int64]) -> int:
    """The lowest number whose bit is set, which is cleared; there must be one."""
    number = 0
    for level in range(len(level_at)):
        number = number * WORD_BITS + _lowest_bit(words[level_at[level] + number])
    found = number
    for level in range(len(level_at) - 1, -1, -1):
        word = level_at[level] + number // WORD_BITS
        words[word] &= ~(1 << (number % WORD_BITS))
        if words[word] != 0:
            break
        number = number // WORD_BITS
    return found


@compiled
def _lowest_bit(word: int) -> int:
    """Number of the lowest bit that is set among 32."""
    number = 0
    if word & 0xFFFF == 0:
        word, number = word >> 16, number + 16
    if word & 0xFF == 0:
        word, number = word >> 8, number + 8
    if word & 0xF == 0:
        word, number = word >> 4, number + 4
    if word & 0x3 == 0:
        word, number = word >> 2, number + 2
    return number + (1 - (word & 1))


@compiled
def _cut_out(receiver: NDArray[np.int64], order: NDArray[np.int64], heights: NDArray[np.float64]) -> None:
    """Lower each cell to the lowest that drains through it."""
    for at in order[::-1]:
        if receiver[at] >= 0:
            heights[receiver[at]] = min(heights[receiver[at]], heights[at])


@compiled
def _down_steepest(
    heights: NDArray[np.float64],
    steps: NDArray[np.int64],
    away: NDArray[np.float64],
    receiver: NDArray[np.int64],
    drains: NDArray[np.bool_],
) -> None:
    """Turn each cell that `drains` to where the ground falls most steeply, if it falls; `away` is in cells."""
    for at in range(len(heights)):
        if not drains[at]:
            continue
        steepest = 0.0
        for step, far in zip(steps, away):  # noqa: B905 -- compiled loops know no `strict`
            fall = (heights[at] - heights[at + step]) / far
            if fall > steepest:
                steepest = fall
                receiver[at] = at + step


def _without_rim(receiver: NDArray[np.int64], order: NDArray[np.int64], width: int, cols: int) -> Drainage:
    """The drainage in flat indices of the grid without the ring of cells around it."""

    def inner(at: NDArray[np.int64]) -> NDArray[np.int64]:
        return np.where(at < 0, -1, (at // width - 1) * cols + at % width - 1)

    full = inner(receiver.reshape(-1, width)[1:-1, 1:-1]).ravel()
    return Drainage(full, inner(order))


@compiled
def _spill(receiver: NDArray[np.int64], order: NDArray[np.int64], level: NDArray[np.float64]) -> None:
    """Raise each cell to the cell it drains to."""
    for at in order:
        if receiver[at] >= 0:
            level[at] = max(level[at], level[receiver[at]])


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
