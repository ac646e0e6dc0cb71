"""Lines cut by a fixed lattice of squares, so that what is done with a piece does not depend on the whole line.

Where a line begins, and how long it is, depends on how much of the ground was seen at a time. Whatever counts along a
line counts from the sides of these squares instead: two fields (`pipeline.lattice.fields`) then give the same.
"""

from __future__ import annotations

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
    places = places[_from_fixed_start(places, of_line)]
    cuts = np.flatnonzero(_is_cut(places, of_line))
    whole = of_line[cuts[1:]] == of_line[cuts[:-1]]
    first, last = cuts[:-1][whole], cuts[1:][whole] + 1
    return [places[start:end] for start, end in zip(first.tolist(), last.tolist(), strict=True)], of_line[first]


def _is_cut(places: EastNorth, of_line: Numbers) -> NDArray[np.bool_]:
    """(n,) bool: vertices at which a line begins, ends, or comes from one square into another."""
    square = np.floor((places[1:] + places[:-1]) / (2 * SQUARE_M))
    crosses = np.concatenate([[True], (square[1:] != square[:-1]).any(axis=1), [True]])[: len(places)]
    changes = of_line[1:] != of_line[:-1]
    return np.asarray(crosses | np.concatenate([[True], changes]) | np.concatenate([changes, [True]]))


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


def _from_fixed_start(places: EastNorth, of_line: Numbers) -> Numbers:
    """(n,) the vertices in the order in which rings do not begin where it happens.

    A ring begins at the side of a square: where it is told from, if that is one, else at the first one after it. One
    that lies in a single square begins at its southernmost vertex, the westernmost of several.
    """
    order = np.arange(len(places))
    first = np.flatnonzero(np.diff(of_line, prepend=-1))
    last = np.append(first[1:], len(places)) - 1
    is_cut = _is_cut(places, of_line)
    is_cut[first] = is_cut[last] = False
    cuts = np.flatnonzero(is_cut)
    at = np.searchsorted(cuts, first)
    is_crossed = at < np.searchsorted(cuts, last)
    is_ring = (last > first) & (places[first] == places[last]).all(axis=1)
    # A ring that is told from the side of a square stays as it is.
    before, after = (np.floor((places[n] + places[n + side]) / (2 * SQUARE_M)) for n, side in ((last, -1), (first, 1)))
    stays = is_crossed & (before != after).any(axis=1)
    for line in np.flatnonzero(is_ring & ~stays):
        start, end = first[line], last[line]
        own = places[start:end]
        lowest = start + np.lexsort((own[:, 0], own[:, 1]))[0] if not is_crossed[line] else cuts[at[line]]
        order[start : end + 1] = np.concatenate([order[lowest:end], order[start : lowest + 1]])
    return order


def from_lowest(ring: EastNorth, /) -> EastNorth:
    """A closed line that begins at its southernmost vertex, the westernmost of several."""
    first = int(np.lexsort((ring[:-1, 0], ring[:-1, 1]))[0])
    return np.concatenate([ring[first:-1], ring[: first + 1]])
