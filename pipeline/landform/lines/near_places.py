"""Places along lines that come near to each other, of two lines or of two parts of one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorth

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
    held = columns, key[order], order, np.ascontiguousarray(places[order]), line[order], along_m[order]
    first, second = _pairs(*held, around_m[order], float(apart_m))
    return np.minimum(first, second), np.maximum(first, second)


@compiled
def _pairs(
    columns: int,
    key: Numbers,
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
    beyond = 0
    for i in range(n):
        # In the row of the place itself, and in the three squares of the row to the north of it.
        while beyond < n and key[beyond] < key[i] + columns - 1:
            beyond += 1
        for row in range(2):
            k, last = (i + 1, key[i] + 1) if row == 0 else (beyond, key[i] + columns + 1)
            while k < n and key[k] <= last:
                east, north = places[k, 0] - places[i, 0], places[k, 1] - places[i, 1]
                is_pair = east * east + north * north <= apart_m * apart_m
                if is_pair and line[k] == line[i]:
                    way_m = abs(along_m[k] - along_m[i])
                    is_pair = min(way_m, around_m[i] - way_m) > 3 * apart_m
                if is_pair:
                    if found == len(first):
                        first = np.concatenate((first, np.empty_like(first)))
                        second = np.concatenate((second, np.empty_like(second)))
                    first[found], second[found] = number[i], number[k]
                    found += 1
                k += 1
    return first[:found], second[:found]
