"""The lowest return of each cell, from which the bare earth is sought, and how far apart the returns lie."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.returns.triangulation import Triangulated

GROUND_CELL_M = 1.0
"""Side of the cells, in metres, of which the lowest return is taken. In wider cells the lowest return of a slope lies
far below the middle of the cell and crests are lost; narrower cells often hold only a plant. Our choice."""
RIM_CELLS = 6
"""Empty cells around those with returns. What looks at a cell's surroundings then finds at the rim of the survey what
it finds at the rim of a hole, wherever a block ends; the farthest looks 5 cells out (`gentle_ways.BRIDGED_M` and the
next cell). Without them, blocks of two sizes disagree where their corners lie on the rim of the survey."""
SPACING_SIGMA_M = 3.0
"""Standard deviation, in metres, of the gaussian window in which returns are counted to tell their spacing: even a
survey of one return in 4 m2 has a few in it. Our choice."""
SPACING_LIMIT_M = 1.5
"""Spacing in metres beyond which tolerances no longer grow with it: else low plants of sparse surveys would pass as
ground. Our choice."""


@dataclass(frozen=True)
class Lowest:
    """The lowest return of each cell.

    Attributes
    ----------
    cell_m : float
    first_col, first_row : int
        Place of the arrays' first cell in whole cells; rows run from south to north.
    height : (rows, cols) float64, metres
        inf where the cell holds no return.
    east, north : (rows, cols) float64, metres
        Place of the return within its cell, from the cell's centre.
    count : (rows, cols) int64
        Returns in the cell.
    triangulated : list
        The cells triangulated last and their triangulation, kept for the next time; empty at first.
    """

    cell_m: float
    first_col: int
    first_row: int
    height: NDArray[np.float64]
    east: NDArray[np.float64]
    north: NDArray[np.float64]
    count: NDArray[np.int64]
    triangulated: list[tuple[Mask, Triangulated]] = field(default_factory=list, init=False, repr=False, compare=False)

    @property
    def is_known(self) -> Mask:
        """(rows, cols) bool."""
        known: Mask = np.isfinite(self.height)
        return known

    def enh(self, which: Mask) -> EastNorthHeight:
        """(n, 3) the returns of the chosen cells, from the arrays' first cell's corner."""
        row, col = np.nonzero(which)
        east = (col + 0.5) * self.cell_m + self.east[which]
        north = (row + 0.5) * self.cell_m + self.north[which]
        return np.column_stack((east, north, self.height[which]))


def lowest_returns(enh: EastNorthHeight, /, *, cell_m: float) -> Lowest:
    """The lowest return of each cell; of equally low ones the most western, then the most southern.

    The cells with returns have `RIM_CELLS` empty ones around them.
    """
    first_col, first_row = (math.floor(enh[:, axis].min() / cell_m) - RIM_CELLS for axis in (0, 1))
    last_col, last_row = (math.floor(enh[:, axis].max() / cell_m) + RIM_CELLS for axis in (0, 1))
    shape = last_row - first_row + 1, last_col - first_col + 1
    places = enh[:, 0], enh[:, 1], enh[:, 2]
    number, count = _lowest_in_cells(*places, cell_m, first_col, first_row, shape[0], shape[1])
    height, east, north = np.full(shape, np.inf), np.zeros(shape), np.zeros(shape)
    held = number >= 0
    low, (row, col) = enh[number[held]], np.nonzero(held)
    height[held] = low[:, 2]
    east[held] = low[:, 0] - (col + first_col + 0.5) * cell_m
    north[held] = low[:, 1] - (row + first_row + 0.5) * cell_m
    return Lowest(cell_m, first_col, first_row, height, east, north, count)


@compiled
def _lowest_in_cells(
    east: NDArray[np.float64],
    north: NDArray[np.float64],
    height: NDArray[np.float64],
    cell_m: float,
    first_col: int,
    first_row: int,
    rows: int,
    cols: int,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(rows, cols) twice: number of the lowest return of each cell, -1 where there is none, and returns in it."""
    number, count = np.full((rows, cols), -1, np.int64), np.zeros((rows, cols), np.int64)
    for i in range(len(east)):
        row, col = math.floor(north[i] / cell_m) - first_row, math.floor(east[i] / cell_m) - first_col
        count[row, col] += 1
        low = number[row, col]
        if low < 0 or height[i] != height[low]:
            is_lower = low < 0 or height[i] < height[low]
        else:
            is_lower = east[i] < east[low] or (east[i] == east[low] and north[i] <= north[low])
        if is_lower:
            number[row, col] = i
    return number, count


def taken(enh: EastNorthHeight, which: NDArray[np.intp], /) -> EastNorthHeight:
    """(k, 3) the returns of these numbers, laid out column by column: taken row by row it lasts six times as long."""
    return np.take(enh.T, which, axis=1).T


def spacing_of(lowest: Lowest, /) -> NDArray[np.float64]:
    """(rows, cols) metres: mean distance between the returns around each cell, at most `SPACING_LIMIT_M`."""
    sigma = SPACING_SIGMA_M / lowest.cell_m
    per_cell = gaussian(lowest.count.astype(np.float64), sigma, rim="constant", truncate=2.5)
    spacing_m = lowest.cell_m / np.sqrt(np.maximum(per_cell, 1e-6))
    return np.asarray(np.minimum(spacing_m, SPACING_LIMIT_M))
