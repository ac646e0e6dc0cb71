"""The lowest return of each cell, from which the bare earth is sought, and how far apart the returns lie."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.lattice.per_cell import count_in_cells, lowest_in_cells
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
    col = np.floor(enh[:, 0] / cell_m).astype(np.int64)
    row = np.floor(enh[:, 1] / cell_m).astype(np.int64)
    first_col, first_row = int(col.min()) - RIM_CELLS, int(row.min()) - RIM_CELLS
    shape = int(row.max()) - first_row + 1 + RIM_CELLS, int(col.max()) - first_col + 1 + RIM_CELLS
    cell = (row - first_row) * shape[1] + (col - first_col)
    height = lowest_in_cells(cell, enh[:, 2], (shape[0] * shape[1],), empty=np.inf)
    low = np.flatnonzero(enh[:, 2] == height[cell])
    low = low[np.lexsort((-enh[low, 1], -enh[low, 0]))]
    east, north = np.zeros_like(height), np.zeros_like(height)
    east[cell[low]] = enh[low, 0] - (col[low] + 0.5) * cell_m
    north[cell[low]] = enh[low, 1] - (row[low] + 0.5) * cell_m
    height, east, north = height.reshape(shape), east.reshape(shape), north.reshape(shape)
    return Lowest(cell_m, first_col, first_row, height, east, north, count_in_cells(cell, shape))


def spacing_of(lowest: Lowest, /) -> NDArray[np.float64]:
    """(rows, cols) metres: mean distance between the returns around each cell, at most `SPACING_LIMIT_M`."""
    sigma = SPACING_SIGMA_M / lowest.cell_m
    per_cell = ndimage.gaussian_filter(lowest.count.astype(np.float64), sigma, mode="constant", truncate=2.5)
    spacing_m = lowest.cell_m / np.sqrt(np.maximum(per_cell, 1e-6))
    return np.asarray(np.minimum(spacing_m, SPACING_LIMIT_M))
