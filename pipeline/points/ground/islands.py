"""Islands: bare cells that no gentle way joins to the rest of the ground, and that may be crowns on a dark slope.

Where hardly a pulse reaches the ground, the lowest returns of a steep hillside are boughs, and no window is wide enough
to find the ground below them. They show by what is around: a few cells, metres apart and rough, high above the
surface through the ground that is beyond doubt.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.points.ground.lowest import GROUND_CELL_M, Lowest, lowest_returns, spacing_of

LINK_SPACINGS = 2.5
"""How far, in distances between returns, two bare cells may lie apart and be joined. Our choice."""
LINK_M = 3.0
"""How far they may lie apart in a dense survey, in metres. Our choice."""
LINK_STEP_M = 0.3
"""Difference in height that two joined cells may have whatever their distance, in metres. Our choice."""
LINK_SLOPE = 1.0
"""Difference in height besides, for each metre of distance: 45 degrees. Our choice."""
BEYOND_DOUBT_CELLS = 200
"""Joined cells from which they are ground beyond doubt: crowns are rougher than that. Our choice."""
DENSE_SHARE = 0.5
"""Share of the known cells beside those of an island that belong to it, from which it may be the top of a crag, and
stays if it is solid. Our choice."""
SOLID_M = 1.0
"""Height in metres above the lowest return of a cell within which the returns of rock lie. Our choice."""
SOLID_SHARE = 0.6
"""Share of the returns of an island within that height, from which it is solid: in crowns they lie metres apart. Our
choice."""


def near_lowest(enh: EastNorthHeight, lowest: Lowest, /) -> NDArray[np.int64]:
    """(rows, cols) number of the returns of each cell that lie not far above its lowest."""
    return _near_lowest(enh, lowest.first_row, lowest.first_col, lowest.cell_m, lowest.height)


@compiled
def _near_lowest(
    enh: EastNorthHeight, first_row: int, first_col: int, cell_m: float, height: NDArray[np.float64]
) -> NDArray[np.int64]:
    count = np.zeros(height.shape, np.int64)
    for i in range(len(enh)):
        row, col = math.floor(enh[i, 1] / cell_m) - first_row, math.floor(enh[i, 0] / cell_m) - first_col
        count[row, col] += enh[i, 2] <= height[row, col] + SOLID_M
    return count


def doubtful_islands(lowest: Lowest, is_bare: Mask, n_near: NDArray[np.int64], /) -> Mask:
    """(rows, cols) bool: bare cells in small groups that may be crowns, and are ground only if they lie near the rest.

    Nothing where there is no large group to compare with.

    Parameters
    ----------
    n_near : (rows, cols) int
        As `near_lowest` counts them.
    """
    reach_m = np.maximum(LINK_M, LINK_SPACINGS * spacing_of(lowest))
    group = _groups(lowest.height, lowest.east, lowest.north, is_bare, reach_m, lowest.cell_m)
    size = np.bincount(group[is_bare], minlength=group.size)
    is_small = is_bare & (size[group] < BEYOND_DOUBT_CELLS)
    if not is_small.any() or is_small.sum() == is_bare.sum():
        return np.zeros(is_bare.shape, np.bool_)
    own, known = _beside(group, is_small, lowest.is_known)

    def total(count: NDArray[np.int64]) -> NDArray[np.float64]:
        return np.asarray(np.bincount(group[is_small], count[is_small], group.size), np.float64)

    is_crag = (total(own) >= DENSE_SHARE * total(known)) & (total(n_near) >= SOLID_SHARE * total(lowest.count))
    doubtful: Mask = is_small & ~is_crag[group]
    return doubtful


def joined_groups(enh: EastNorthHeight, /) -> NDArray[np.int64]:
    """(n,) number of the group of ground returns that each belongs to; gentle ways lead from each to each of a group.

    The lowest return of a cell stands for those in it; -1 for what lies too high above that, as the edge of a roof.
    """
    lowest = lowest_returns(enh, cell_m=GROUND_CELL_M)
    reach_m = np.maximum(LINK_M, LINK_SPACINGS * spacing_of(lowest))
    group = _groups(lowest.height, lowest.east, lowest.north, lowest.is_known, reach_m, lowest.cell_m)
    col, row = (np.floor(enh[:, axis] / lowest.cell_m).astype(np.int64) for axis in (0, 1))
    row, col = row - lowest.first_row, col - lowest.first_col
    is_high = enh[:, 2] > lowest.height[row, col] + LINK_STEP_M + LINK_SLOPE * lowest.cell_m
    return np.where(is_high, -1, group[row, col])


@compiled
def _root(parent: NDArray[np.int64], i: int) -> int:
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@compiled
def _groups(
    height: NDArray[np.float64],
    east: NDArray[np.float64],
    north: NDArray[np.float64],
    is_bare: Mask,
    reach_m: NDArray[np.float64],
    cell_m: float,
) -> NDArray[np.int64]:
    """(rows, cols) number of the group of joined bare cells that each belongs to; its own where it is not bare."""
    rows, cols = height.shape
    parent = np.arange(rows * cols)
    for row in range(rows):
        for col in range(cols):
            if not is_bare[row, col]:
                continue
            own = _root(parent, row * cols + col)
            cells = int(np.ceil(reach_m[row, col] / cell_m))
            # Each pair once: the rows below, and what lies before in the row.
            for r in range(max(0, row - cells), row + 1):
                for c in range(max(0, col - cells), min(cols, col + cells + 1)):
                    if (r == row and c >= col) or not is_bare[r, c]:
                        continue
                    if parent[r * cols + c] == own:
                        continue
                    other = _root(parent, r * cols + c)
                    if other == own:
                        continue
                    d_east = (c - col) * cell_m + east[r, c] - east[row, col]
                    d_north = (r - row) * cell_m + north[r, c] - north[row, col]
                    apart = np.hypot(d_east, d_north)
                    step = abs(height[r, c] - height[row, col])
                    if apart <= reach_m[row, col] and step <= LINK_STEP_M + LINK_SLOPE * apart:
                        # The lower number leads, so that the order decides nothing.
                        low, high = min(own, other), max(own, other)
                        parent[high] = low
                        own = low
    group = np.empty((rows, cols), np.int64)
    for row in range(rows):
        for col in range(cols):
            group[row, col] = _root(parent, row * cols + col)
    return group


@compiled
def _beside(group: NDArray[np.int64], is_small: Mask, is_known: Mask) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(rows, cols) twice, of each small cell's 8 neighbours: those of its group, and those that hold a return."""
    rows, cols = group.shape
    own, known = np.zeros((rows, cols), np.int64), np.zeros((rows, cols), np.int64)
    for row in range(rows):
        for col in range(cols):
            if not is_small[row, col]:
                continue
            for r in range(max(0, row - 1), min(rows, row + 2)):
                for c in range(max(0, col - 1), min(cols, col + 2)):
                    if r == row and c == col:
                        continue
                    known[row, col] += is_known[r, c]
                    own[row, col] += is_small[r, c] and group[r, c] == group[row, col]
    return own, known
