"""Lines cut by a fixed lattice of squares, so that what is done with a piece does not depend on the whole line.

Where a line begins, and how long it is, depends on how much of the ground was seen at a time. Whatever counts along a
line counts from the sides of these squares instead: two fields (`pipeline.lattice.fields`) then give the same.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import EastNorth

SQUARE_M = 100.0
"""Side of the squares, in metres; the side of a field is a multiple of it. Smaller squares force more vertices on the
lines (our choice)."""
Numbers = NDArray[np.int64]


def in_squares(lines: list[EastNorth], /) -> tuple[list[EastNorth], Numbers]:
    """Every line cut where it comes from one square into another; each piece begins where the one before ends.

    A ring is not cut where it begins but at sides of squares only; one that lies in a single square begins at its
    southernmost vertex.

    Returns
    -------
    list of m (k, 2) float64, and (m,) int64 which line each is a piece of, in order.
    """
    if not lines:
        return [], np.empty(0, np.int64)
    places = np.concatenate(lines)
    of_line = np.repeat(np.arange(len(lines)), [len(line) for line in lines])
    places, of_line = _with_crossings(places, of_line)
    same_line = of_line[1:] == of_line[:-1]
    square = np.floor((places[1:] + places[:-1]) / (2 * SQUARE_M))
    # A vertex between two edges in different squares is a cut; so is one between two lines.
    crosses = np.concatenate([[False], (square[1:] != square[:-1]).any(axis=1), [False]])
    starts = np.concatenate([[True], ~same_line])
    ends = np.concatenate([~same_line, [True]])
    pieces: list[EastNorth] = []
    number: list[int] = []
    cuts = np.flatnonzero((crosses & ~starts & ~ends) | starts | ends)
    for first, last in itertools.pairwise(cuts):
        if of_line[first] == of_line[last]:
            pieces.append(places[first : last + 1])
            number.append(int(of_line[first]))
    return _from_fixed_start(pieces, np.array(number, np.int64))


def _with_crossings(places: EastNorth, of_line: Numbers) -> tuple[EastNorth, Numbers]:
    """The vertices of all lines, and those where a line crosses the side of a square."""
    segment = np.flatnonzero(of_line[1:] == of_line[:-1])
    begin, end = places[segment], places[segment + 1]
    changed = (np.floor(begin / SQUARE_M) != np.floor(end / SQUARE_M)).any(axis=1)
    segment, begin, end = segment[changed], begin[changed], end[changed]
    # Reckoned from the same end whichever way the line runs, so that the vertex is the same to the last bit.
    turned = (begin[:, 0] > end[:, 0]) | ((begin[:, 0] == end[:, 0]) & (begin[:, 1] > end[:, 1]))
    low, high = np.where(turned[:, None], end, begin), np.where(turned[:, None], begin, end)
    at, share, new = [], [], []
    for axis in (0, 1):
        lower, upper = np.minimum(low[:, axis], high[:, axis]), np.maximum(low[:, axis], high[:, axis])
        first, last = np.floor(lower / SQUARE_M) + 1, np.ceil(upper / SQUARE_M) - 1
        count = np.maximum(last - first + 1, 0).astype(np.int64)
        row = np.repeat(np.arange(len(count)), count)
        side_m = (first[row] + np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)) * SQUARE_M
        along = (side_m - low[row, axis]) / (high[row, axis] - low[row, axis])
        place = low[row] + along[:, None] * (high[row] - low[row])
        place[:, axis] = side_m
        at.append(segment[row])
        share.append(np.where(turned[row], 1 - along, along))
        new.append(place)
    order = np.lexsort((np.concatenate(share), np.concatenate(at)))
    where = np.concatenate(at)[order] + 1
    return (
        np.insert(places, where, np.concatenate(new)[order], axis=0),
        np.insert(of_line, where, of_line[where - 1]),
    )


def _from_fixed_start(pieces: list[EastNorth], number: Numbers) -> tuple[list[EastNorth], Numbers]:
    """The pieces with those of a ring put in an order that does not depend on where the ring began."""
    whole: list[EastNorth] = []
    of_line: list[int] = []
    starts = np.flatnonzero(np.diff(number, prepend=-1))
    for first, last in zip(starts, [*starts[1:], len(pieces)], strict=True):
        own = pieces[first:last]
        if len(own[0]) + len(own[-1]) > 3 and np.array_equal(own[0][0], own[-1][-1]):
            own = _healed(own)
        whole += own
        of_line += [int(number[first])] * len(own)
    return whole, np.array(of_line, np.int64)


def _healed(pieces: list[EastNorth]) -> list[EastNorth]:
    """The pieces of a ring, not cut where it began unless that is on the side of two squares."""
    if len(pieces) == 1:
        return [from_lowest(pieces[0])]
    before, after = pieces[-1][-2:].mean(axis=0), pieces[0][:2].mean(axis=0)
    if not np.array_equal(np.floor(before / SQUARE_M), np.floor(after / SQUARE_M)):
        return pieces
    return [*pieces[1:-1], np.concatenate([pieces[-1], pieces[0][1:]])]


def from_lowest(ring: EastNorth, /) -> EastNorth:
    """A closed line that begins at its southernmost vertex, the westernmost of several."""
    first = int(np.lexsort((ring[:-1, 0], ring[:-1, 1]))[0])
    return np.concatenate([ring[first:-1], ring[: first + 1]])
