"""The neighbours of each lowest return, within cells of one or several metres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Mask
from pipeline.lattice.per_cell import lowest_in_cells
from pipeline.lattice.windows import highest_around
from pipeline.points.ground.lowest import Lowest

WIDTH_SHARE = 0.6
"""Distance at which the weight of a neighbour has fallen to 1/e, as a share of the distance within which neighbours are
taken. Greater figures let far neighbours bend the plane, smaller ones leave it to a few. Our choice."""


@dataclass(frozen=True)
class Neighbours:
    """For each of m returns out of n its up to k neighbours.

    Attributes
    ----------
    n_returns : int
    own : (m,) int
        Number of the return among the n.
    which : (m, k) int
        Number of the neighbour among the n; 0 where there is none.
    weight : (m, k) float64
        Falls with distance; 0 where there is none.
    width_m : float
        Distance at which the weight has fallen to 1/e.
    east, north, height : (m, k) float64, metres from the return.
    """

    n_returns: int
    own: NDArray[np.int64]
    which: NDArray[np.int64]
    weight: NDArray[np.float64]
    width_m: float
    east: NDArray[np.float64]
    north: NDArray[np.float64]
    height: NDArray[np.float64]


def coarse_lowest(lowest: Lowest, is_bare: Mask, factor: int, /) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Row and column of the lowest bare return of each cell `factor` times as wide; the wide cells lie on the lattice.

    Of equally low ones the most southern, then the most western cell.
    """
    row, col = np.nonzero(is_bare)
    if factor == 1:
        return row, col
    wide_row = (row + lowest.first_row) // factor - lowest.first_row // factor
    wide_col = (col + lowest.first_col) // factor - lowest.first_col // factor
    cell = wide_row * (int(wide_col.max(initial=0)) + 1) + wide_col
    height = lowest.height[row, col]
    least = lowest_in_cells(cell, height, (int(cell.max(initial=-1)) + 1,), empty=np.inf)
    low = np.flatnonzero(height == least[cell])
    # Rows and columns ascend: written backwards, the first of equally low ones stays.
    chosen = np.full(len(least), -1, np.intp)
    chosen[cell[low[::-1]]] = low[::-1]
    chosen = chosen[chosen >= 0]
    return row[chosen], col[chosen]


def neighbours_of(
    lowest: Lowest,
    place: tuple[NDArray[np.intp], NDArray[np.intp]],
    asked: Mask,
    /,
    *,
    factor: int,
    reach: int,
    hops: int,
) -> Neighbours:
    """The neighbours of the returns asked for, of those neighbours, and so on, `hops` times.

    Parameters
    ----------
    place : (n,) rows and (n,) columns of the lowest returns, one for each wide cell
    asked : (n,) bool
    factor : int
        Width of the wide cells in cells.
    reach : int
        Returns of the wide cells at most so many wide cells away are neighbours.
    """
    row, col = place
    wide_row = (row + lowest.first_row) // factor - lowest.first_row // factor + reach
    wide_col = (col + lowest.first_col) // factor - lowest.first_col // factor + reach
    shape = (int(wide_row.max(initial=0)) + reach + 1, int(wide_col.max(initial=0)) + reach + 1)
    number = np.full(shape, -1, np.int64)
    number[wide_row, wide_col] = np.arange(len(row))
    is_near = np.zeros(shape, np.uint8)
    is_near[wide_row[asked], wide_col[asked]] = 1
    is_near = highest_around(is_near, reach * hops)
    own = np.flatnonzero(is_near[wide_row, wide_col])
    cell = (wide_row * shape[1] + wide_col)[own]
    steps = [r * shape[1] + c for r in range(-reach, reach + 1) for c in range(-reach, reach + 1) if (r, c) != (0, 0)]
    at_east = (col + lowest.east[place] / lowest.cell_m) * lowest.cell_m
    at_north = (row + lowest.north[place] / lowest.cell_m) * lowest.cell_m
    width_m = WIDTH_SHARE * (reach + 0.5) * factor * lowest.cell_m
    which, weight, east, north, height = _differences(
        number.ravel(), own, cell, np.array(steps), at_east, at_north, lowest.height[place], width_m**2
    )
    np.exp(weight, out=weight)
    return Neighbours(len(row), own, which, weight, width_m, east, north, height)


@compiled
def _differences(
    number: NDArray[np.int64],
    own: NDArray[np.int64],
    cell: NDArray[np.int64],
    steps: NDArray[np.int64],
    east: NDArray[np.float64],
    north: NDArray[np.float64],
    height: NDArray[np.float64],
    width_m2: float,
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """(m, k) each: number of the neighbour, logarithm of its weight, and how far east, north and up it lies."""
    shape = len(own), len(steps)
    which, log_weight = np.zeros(shape, np.int64), np.full(shape, -np.inf)
    d_east, d_north, d_height = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    for i in range(len(own)):
        mine = own[i]
        for k in range(len(steps)):
            other = number[cell[i] + steps[k]]
            if other >= 0:
                which[i, k] = other
                e, n = east[other] - east[mine], north[other] - north[mine]
                d_east[i, k], d_north[i, k], d_height[i, k] = e, n, height[other] - height[mine]
                log_weight[i, k] = -(e * e + n * n) / width_m2
    return which, log_weight, d_east, d_north, d_height
