"""Areas too small or too faint for the map become part of the neighbour they are most like."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from skimage.measure import label

Kinds = NDArray[np.int16]
"""(rows, cols) int16: what each cell is, by a number of the caller's own; -1 is outside."""
Numbers = NDArray[np.int64]
"""All that areas are compared by is whole numbers: sums of the same cells in another order are then the same, and two
fields that see a place in different windows decide alike."""

MOST_ROUNDS = 64
"""Merging ends after so many rounds even if areas too small are left, so that it ends at all. Each round gives away the
least of every group of neighbours that go, and a handful of rounds is enough for any forest we saw."""
NO_NEIGHBOUR = np.iinfo(np.int64).max


@dataclass(frozen=True)
class Areas:
    """Connected areas of one kind each, and which of them touch; n of them, k kinds.

    Attributes
    ----------
    held : (n, k) cells of each area by the kind that they had at first
    kind_of : (n,) kind that each area has now
    one, other, length : (m,) pairs of areas that touch, both ways round, and the number of cell edges they share
    """

    held: Numbers
    kind_of: Numbers
    one: Numbers
    other: Numbers
    length: Numbers

    def beside(self) -> Numbers:
        """(n, k) cell edges that each area shares with areas of each kind."""
        n, k = self.held.shape
        return _summed(self.one * k + self.kind_of[self.other], self.length, n * k).reshape(n, k)


@dataclass(frozen=True)
class Limits:
    """What areas are held to, (k, k) each: of kind i beside kind j.

    Attributes
    ----------
    loss : whole numbers, hundredths
        How wrong a cell of kind i is when it is drawn as kind j.
    least_m2 : least area of kind i where most of its border is with kind j; NaN for none
    telling_m2 : an area of kind i that goes to one of kind j with a loss of 1 a cell stays from this size on, with a
        loss of 4 from a quarter of it
    """

    loss: Numbers
    least_m2: NDArray[np.float64]
    telling_m2: NDArray[np.float64]

    def in_cells(self, cell_m: float) -> Limits:
        """The same, in cells instead of m2."""
        return Limits(self.loss, self.least_m2 / cell_m**2, self.telling_m2 / cell_m**2)


def merge_areas(kinds: Kinds, limits: Limits, /, *, cell_m: float) -> Kinds:
    """Cells with every area that is too small, or too faint to tell a runner anything, given to a neighbour.

    What an area costs drawn as a kind is the sum of the losses between that kind and those its cells had at first. It
    goes to the kind with which it shares most border, divided by one more than what it would cost more a cell. It goes
    if it is below its least size, or if it would cost less than an area that tells something. The least of neighbours
    that are to go goes first, so that two of them may make one that is large enough.

    Parameters
    ----------
    kinds : (rows, cols); cells of -1 are outside and stay
    """
    region, areas = areas_of(kinds, len(limits.loss))
    now = np.arange(len(areas.kind_of))
    limits = limits.in_cells(cell_m)
    for _ in range(MOST_ROUNDS):
        kind_of = _with_least_given_away(areas, limits)
        if np.array_equal(kind_of, areas.kind_of):
            break
        areas, into = _joined(areas, kind_of)
        now = into[now]
    return np.append(-1, areas.kind_of[now])[region].astype(np.int16)


def areas_of(kinds: Kinds, n_kinds: int, /) -> tuple[Numbers, Areas]:
    """(rows, cols) number of the area that each cell lies in, from 1, 0 outside; and the areas, without the outside."""
    region, kind_of = connected_areas(kinds)
    size = np.bincount(region.ravel(), minlength=len(kind_of))[1:]
    held = np.zeros((len(size), n_kinds), np.int64)
    held[np.arange(len(size)), kind_of[1:]] = size
    one, other, length = _borders(region)
    inside = (one > 0) & (other > 0)
    return region, Areas(held, kind_of[1:], one[inside] - 1, other[inside] - 1, length[inside])


def connected_areas(kinds: Kinds, /) -> tuple[Numbers, Numbers]:
    """Number of the connected area (over cell edges) of each cell, from 1, 0 outside; and the kind of each number.

    They are numbered in the order of their first cells, row by row.
    """
    region = np.asarray(label(kinds, background=-1, connectivity=1), np.int64)  # type: ignore[no-untyped-call]
    kind_of = np.full(int(region.max(initial=0)) + 1, -1, np.int64)
    kind_of[region] = kinds
    return region, kind_of


def _with_least_given_away(areas: Areas, limits: Limits) -> Numbers:
    """(n,) kind of each area after those were given away that cost less than all their neighbours that are to go."""
    each, own, size = np.arange(len(areas.kind_of)), areas.kind_of, areas.held.sum(axis=1)
    beside, cost = areas.beside(), areas.held @ limits.loss
    more = cost - cost[each, own][:, None]
    pull = np.where(beside > 0, beside / (1 + np.maximum(more, 0) / (100 * size[:, None])), -1)
    host = np.argmax(np.round(pull, 9), axis=1)
    has_host, growth = beside[each, host] > 0, more[each, host]
    telling = 100 * limits.telling_m2[own, host]
    is_small = size < limits.least_m2[own, np.argmax(beside, axis=1)]
    goes = has_host & (is_small | (growth < telling))
    # Areas are numbered by place, so equals are settled the same way however the ground was cut into fields.
    order = np.lexsort((each, size, np.minimum(growth, telling)))
    rank = np.empty_like(order)
    rank[order] = each
    waits = goes[areas.one] & goes[areas.other] & (rank[areas.other] < rank[areas.one])
    goes[areas.one[waits]] = False
    return np.where(goes, host, own)


def _joined(areas: Areas, kind_of: Numbers) -> tuple[Areas, Numbers]:
    """The areas with those of one kind that touch made one, and which of them each old one is in."""
    n, k = areas.held.shape
    is_same = kind_of[areas.one] == kind_of[areas.other]
    links = coo_array((np.ones(int(is_same.sum())), (areas.one[is_same], areas.other[is_same])), shape=(n, n))
    group = connected_components(links, directed=False)[1]
    _, first, found = np.unique(group, return_index=True, return_inverse=True)
    into = np.argsort(np.argsort(first))[found].astype(np.int64)
    n_new = len(first)
    held = _summed((into[:, None] * k + np.arange(k)).ravel(), areas.held.ravel(), n_new * k).reshape(n_new, k)
    kinds = np.zeros(n_new, np.int64)
    kinds[into] = kind_of
    apart = ~is_same
    key, where = np.unique(into[areas.one[apart]] * n_new + into[areas.other[apart]], return_inverse=True)
    length = _summed(where, areas.length[apart], len(key))
    return Areas(held, kinds, key // n_new, key % n_new, length), into


def _summed(place: Numbers, values: Numbers, n: int) -> Numbers:
    """(n,) sums of whole numbers by place; doubles hold them exactly."""
    return np.bincount(place, values, minlength=n).astype(np.int64)


def _borders(region: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """Pairs of regions that touch, both ways round, and the number of cell edges they share."""
    pairs = []
    for a, b in ((region[:, :-1], region[:, 1:]), (region[:-1], region[1:])):
        differ = a != b
        pairs += [np.stack((a[differ], b[differ])), np.stack((b[differ], a[differ]))]
    one, other = np.concatenate(pairs, axis=1)
    n = int(region.max(initial=0)) + 1
    key, count = np.unique(one * n + other, return_counts=True)
    return key // n, key % n, count.astype(np.int64)
