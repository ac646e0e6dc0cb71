"""Places along lines that come near to each other, of two lines or of two parts of one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorth, Mask

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]


def near_pairs(
    places: EastNorth, line: Numbers, along_m: Floats, around_m: Floats, group: Numbers, /, *, apart_m: float
) -> tuple[Numbers, Numbers]:
    """(n,) and (n,) numbers of the places of each pair no farther apart than `apart_m`, the smaller number first.

    Two places of one line count where the way along it between them is more than three times `apart_m`. A tree of all
    places would first list each with its neighbours on its own line, which are most of all pairs.

    Parameters
    ----------
    places : (k, 2) metres
    line : (k,) which line a place lies on
    along_m : (k,) metres along that line
    around_m : (k,) length in metres of its line where that is closed, else infinite
    group : (k,) only places with the same number here make pairs; counted from 0
    """
    if not len(places):
        return np.empty(0, np.int64), np.empty(0, np.int64)
    # One square more on every side, so that those around the first and the last are there.
    square = np.floor((places - places.min(axis=0)) / apart_m).astype(np.int64) + 1
    columns, rows = (int(most) + 2 for most in square.max(axis=0))
    key = (group * rows + square[:, 1]) * columns + square[:, 0]
    order = np.argsort(key, kind="stable")
    first_of = np.flatnonzero(np.diff(key[order], prepend=-1))
    line, along_m = line[order], along_m[order]
    is_one = _hold_one_stretch(key[order][first_of], columns, first_of, line, along_m, 3 * apart_m)
    held = key[order][first_of], is_one, np.append(first_of, len(order)), order, np.ascontiguousarray(places[order])
    first, second = _pairs(columns, *held, line, along_m, around_m[order], float(apart_m))
    return np.minimum(first, second), np.maximum(first, second)


def _hold_one_stretch(
    key: Numbers, columns: int, first_of: Numbers, line: Numbers, along_m: Floats, most_m: float
) -> Mask:
    """(c,) bool: squares that hold with those east and north of them one short stretch of one line, so no pair."""
    lowest, least_m = np.minimum.reduceat(line, first_of), np.minimum.reduceat(along_m, first_of)
    highest, most_of_m = np.maximum.reduceat(line, first_of), np.maximum.reduceat(along_m, first_of)
    all_lowest, all_highest, all_least_m, all_most_m = lowest.copy(), highest.copy(), least_m.copy(), most_of_m.copy()
    for step in (1, columns - 1, columns, columns + 1):
        other = np.minimum(np.searchsorted(key, key + step), len(key) - 1)
        has = np.flatnonzero(key[other] == key + step)
        other = other[has]
        all_lowest[has] = np.minimum(all_lowest[has], lowest[other])
        all_highest[has] = np.maximum(all_highest[has], highest[other])
        all_least_m[has] = np.minimum(all_least_m[has], least_m[other])
        all_most_m[has] = np.maximum(all_most_m[has], most_of_m[other])
    return np.asarray((all_lowest == all_highest) & (all_most_m - all_least_m <= most_m))


@compiled
def _pairs(
    columns: int,
    key: Numbers,
    is_one: Mask,
    ends: Numbers,
    number: Numbers,
    places: EastNorth,
    line: Numbers,
    along_m: Floats,
    around_m: Floats,
    apart_m: float,
) -> tuple[Numbers, Numbers]:
    """As `near_pairs`, of places sorted by their squares, each as wide as `apart_m`; looked for ahead of each place."""
    n, found = len(key), 0
    first, second = np.empty(1024, np.int64), np.empty(1024, np.int64)
    north = 0
    for square in range(n):
        # In the square itself and the one to the east of it, and in the three squares of the row to the north.
        while north < n and key[north] < key[square] + columns - 1:
            north += 1
        if is_one[square]:
            continue
        for row in range(2):
            other, last = (square, key[square] + 1) if row == 0 else (north, key[square] + columns + 1)
            while other < n and key[other] <= last:
                for i in range(ends[square], ends[square + 1]):
                    for k in range(i + 1 if other == square else ends[other], ends[other + 1]):
                        if line[k] == line[i]:
                            way_m = abs(along_m[k] - along_m[i])
                            if min(way_m, around_m[i] - way_m) <= 3 * apart_m:
                                continue
                        to_east, to_north = places[k, 0] - places[i, 0], places[k, 1] - places[i, 1]
                        if to_east * to_east + to_north * to_north > apart_m * apart_m:
                            continue
                        if found == len(first):
                            first = np.concatenate((first, np.empty_like(first)))
                            second = np.concatenate((second, np.empty_like(second)))
                        first[found], second[found] = number[i], number[k]
                        found += 1
                other += 1
    return first[:found], second[:found]
