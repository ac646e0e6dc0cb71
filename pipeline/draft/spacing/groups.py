"""Vertices of contours in groups that have nothing to do with each other while lines are pushed apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.draft.spacing.near import Squares
from pipeline.draft.spacing.pairs import Pairs
from pipeline.draft.spacing.threads import BELL_STEPS, Threads
from pipeline.lattice.grid import EastNorth

Numbers = NDArray[np.int64]


def groups_of(threads: Threads, rows: Numbers, pairs: Pairs, /, *, beside_m: float) -> Numbers:
    """(k,) group of each vertex in `rows`, counted from 0 in the order in which groups are met.

    In one group are vertices that make a pair, that lie nearer to each other than `beside_m`, or that one push is
    spread to along a line.

    Parameters
    ----------
    rows : (k,) numbers of the vertices that may move, rising
    pairs : pairs of them that may come too near to each other
    """
    squares = Squares.of(threads.places[rows], side_m=beside_m)
    before, after = _along(threads, rows)
    root = np.arange(len(rows))
    first = np.concatenate([before, np.searchsorted(rows, pairs.first)])
    second = np.concatenate([after, np.searchsorted(rows, pairs.second)])
    _join(first, second, squares.columns, squares.key, squares.number, squares.places, beside_m, root)
    # The root of a group is its first vertex, so that groups are counted in the order in which they are met.
    return np.asarray(np.unique(root, return_inverse=True)[1], np.int64)


def _along(threads: Threads, rows: Numbers) -> tuple[Numbers, Numbers]:
    """Neighbours along a line that one push is spread to, as places in `rows`."""
    line, number = threads.line[rows], rows - threads.start[threads.line[rows]]
    before = np.flatnonzero((np.diff(rows) <= BELL_STEPS) & (np.diff(line) == 0))
    _, begins, n = np.unique(line, return_index=True, return_counts=True)
    ends = begins + n - 1
    last = np.diff(threads.start)[line[begins]] - 1
    is_round = threads.closed[line[begins]] & (number[begins] + last - number[ends] <= BELL_STEPS)
    return np.concatenate([before, begins[is_round]]), np.concatenate([before + 1, ends[is_round]])


@compiled
def _root_of(one: int, root: Numbers) -> int:
    """The root of a vertex's group; the way to it is halved for the next who asks."""
    while root[one] != one:
        root[one] = root[root[one]]
        one = root[one]
    return one


@compiled
def _join(
    first: Numbers,
    second: Numbers,
    columns: int,
    key: Numbers,
    number: Numbers,
    places: EastNorth,
    beside_m: float,
    root: Numbers,
) -> None:
    """Make one group of the groups of each two vertices, and of those nearer than the side of a square, `beside_m`.

    The root of a group is its first vertex.
    """
    for k in range(len(first)):
        a, b = _root_of(first[k], root), _root_of(second[k], root)
        root[max(a, b)] = min(a, b)
    above = 0
    for i in range(len(key)):
        while above < len(key) and key[above] < key[i] + columns - 1:
            above += 1
        # Of the squares around only those that come later, so that each two are met once.
        for k, last in ((i + 1, key[i] + 1), (above, key[i] + columns + 1)):
            while k < len(key) and key[k] <= last:
                east, north = places[i, 0] - places[k, 0], places[i, 1] - places[k, 1]
                if east * east + north * north < beside_m * beside_m:
                    a, b = _root_of(number[i], root), _root_of(number[k], root)
                    root[max(a, b)] = min(a, b)
                k += 1
    for i in range(len(root)):
        root[i] = _root_of(i, root)
