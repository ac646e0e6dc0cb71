"""Water led over the ground of an area: where it gathers, and how deep the ground is cut in there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid
from pipeline.lattice.larger_cells import cells_times_as_wide
from pipeline.water.drainage.dams import without_dams
from pipeline.water.drainage.drainage import Drainage, downstream, gathered
from pipeline.water.drainage.sinks import drain_into_sinks
from pipeline.water.running.incision import beds
from pipeline.water.running.inflow import inflow
from pipeline.water.sight.ground import Read, times_for

FLOW_CELL_M = 2.0
"""Side in metres of the cells that water is led over: about the width of a small channel. Smaller cells make water
follow the noise of the ground, larger ones join neighbouring channels. Our choice."""
MOST_FLOW_CELLS = 20_000_000
"""Most cells that water is led over, for the sake of memory: some 80 bytes each. A frame of more than 80 square
kilometres gets larger cells: 3 m up to 180, 4 m up to 320 square kilometres. On five scenes cells of 3 and 4 m still
found 82 to 100 % of the channels that cells of 2 m find, 1 to 2 m beside them, and half as much again was drawn that
these do not show; cells of 6 and 8 m found 52 to 93 %. Our choice."""


@dataclass(frozen=True)
class Runoff:
    """When water runs on the ground of an area.

    Attributes
    ----------
    begins_m2 : float
        Ground that must drain to a valley floor for a stream to run there without a bed being seen.
    bed_begins_m2 : float
        Ground that must drain to a place for a bed to begin there.
    min_depth_m : float
        How much higher than the bed both sides must stand.
    porous : bool or None
        Whether water sinks, so that only what has a bed is drawn; None where the ground itself shall tell.
    """

    begins_m2: float
    bed_begins_m2: float
    min_depth_m: float
    porous: bool | None = None


@dataclass(frozen=True)
class Flow:
    """Water led over the cells of a lattice; flat arrays.

    Attributes
    ----------
    lattice : Grid
    every : int
        How many cells of the area's own grid a cell of the lattice is wide.
    drainage : Drainage
    heights : (n,) float64
        Lowest ground of each cell, metres, low banks over culverts cut through; NaN where unknown.
    depth : (n,) float64
        How much higher the sides of a bed stand (`incision.beds`), metres.
    drained_m2 : (n,) float64
        Ground that drains to each cell, itself among it.
    is_fed : (n,) bool
        A valley enters the survey above it.
    """

    lattice: Grid
    every: int
    drainage: Drainage
    heights: NDArray[np.float64]
    depth: NDArray[np.float64]
    drained_m2: NDArray[np.float64]
    is_fed: NDArray[np.bool_]

    @property
    def size(self) -> NDArray[np.float64]:
        """A stream that comes from outside the survey is larger than every one that begins in it."""
        return np.where(self.is_fed, self.drained_m2.max(initial=0.0) + self.drained_m2, self.drained_m2)


def lead_water(bare_earth: Read, grid: Grid, runoff: Runoff, /) -> Flow:
    """Water led over the bare earth of an area, in cells as small as `MOST_FLOW_CELLS` allows."""
    usual = max(1, round(FLOW_CELL_M / grid.cell_m))
    every = times_for(grid, most_cells=MOST_FLOW_CELLS, least_times=usual)
    lattice = cells_times_as_wide(grid, every)
    heights, depth = beds(bare_earth, grid, lattice, every)
    cut = without_dams(heights, lattice.cell_m)
    drainage, _ = drain_into_sinks(cut)
    fed = downstream(drainage, inflow(heights, depth, drainage, lattice.cell_m, min_depth_m=runoff.min_depth_m))
    drained_m2 = gathered(drainage).astype(np.float64) * lattice.cell_m**2
    return Flow(lattice, every, drainage, cut.ravel(), depth.ravel(), drained_m2, fed)
