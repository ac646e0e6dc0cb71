"""Areas too small for the standard become part of the neighbour they are most like."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Kinds = NDArray[np.int16]
"""(rows, cols) int16: what each cell is, by a number of the caller's own; negative is outside."""

MOST_ROUNDS = 64
"""Merging ends after so many rounds even if areas too small are left, so that it ends at all. Each round gives away the
smallest of every group of small neighbours, and a handful of rounds is enough for any forest we saw."""


def merge_small_areas(
    kinds: Kinds, likeness: NDArray[np.float64], /, *, cell_m: float, min_area_m2: Mapping[int, float]
) -> Kinds:
    """Cells with every area below its least size given to the neighbour it is most like.

    The smallest areas go first, so that two small ones side by side may make one that is large enough.

    Parameters
    ----------
    kinds : (rows, cols); negative cells are outside and stay
    likeness : (k, k) weights: how readily an area of kind i becomes one of kind j, times the length of their border
    min_area_m2 : least area of each kind; kinds not named have none
    """
    least = np.zeros(len(likeness))
    for kind, area in min_area_m2.items():
        least[kind] = area / cell_m**2
    kinds = kinds.copy()
    for _ in range(MOST_ROUNDS):
        region, kind_of = connected_areas(kinds)
        size = np.bincount(region.ravel(), minlength=len(kind_of))
        is_small = size < least[kind_of]
        is_small[0] = False
        new_kind = _absorb(region, size, kind_of, is_small, likeness)
        if np.array_equal(new_kind, kind_of):
            return kinds
        kinds = np.where(region > 0, new_kind[region], kinds).astype(np.int16)
    return kinds


def connected_areas(kinds: Kinds, /) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Number of the connected area (over cell edges) of each cell, from 1, 0 outside; and the kind of each number."""
    region = np.zeros(kinds.shape, np.int64)
    kind_of = [np.zeros(1, np.int64)]
    n_found = 0
    for kind in range(int(kinds.max(initial=-1)) + 1):
        is_kind = kinds == kind
        parts, n_parts = ndimage.label(is_kind)
        region[is_kind] = parts[is_kind] + n_found
        kind_of.append(np.full(n_parts, kind, np.int64))
        n_found += n_parts
    return region, np.concatenate(kind_of)


def _absorb(
    region: NDArray[np.int64],
    size: NDArray[np.int64],
    kind_of: NDArray[np.int64],
    is_small: NDArray[np.bool_],
    likeness: NDArray[np.float64],
) -> NDArray[np.int64]:
    """Kind of each region after the small ones that are smaller than their small neighbours have been given away."""
    one, other, length = _borders(region)
    inside = (one > 0) & (other > 0)
    one, other, length = one[inside], other[inside], length[inside]
    # Regions are numbered by position, so equal sizes are settled the same way however the area was cut.
    yields = (
        is_small[one] & is_small[other] & ((size[other] < size[one]) | ((size[other] == size[one]) & (other < one)))
    )
    waits = np.zeros(len(size), np.bool_)
    waits[one[yields]] = True
    moves = is_small[one] & ~waits[one]
    weight = length[moves] * likeness[kind_of[one[moves]], kind_of[other[moves]]]
    n_kinds = len(likeness)
    pull = np.bincount(one[moves] * n_kinds + kind_of[other[moves]], weight, minlength=len(size) * n_kinds)
    # Sums of the same borders in another order must not differ in the last digit.
    pull = np.round(pull.reshape(len(size), n_kinds), 9)
    has_pull = pull.max(axis=1) > 0
    return np.where(has_pull, pull.argmax(axis=1), kind_of)


def _borders(region: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Pairs of regions that touch, both ways round, and the number of cell edges they share."""
    pairs = []
    for a, b in ((region[:, :-1], region[:, 1:]), (region[:-1], region[1:])):
        differ = a != b
        pairs += [np.stack((a[differ], b[differ])), np.stack((b[differ], a[differ]))]
    one, other = np.concatenate(pairs, axis=1)
    n = int(region.max()) + 1
    key, count = np.unique(one.astype(np.int64) * n + other, return_counts=True)
    return key // n, key % n, count.astype(np.float64)
