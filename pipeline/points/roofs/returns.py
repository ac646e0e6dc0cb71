"""The returns that roofs are told by, on the lattice of cells in which planes and patches are made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid, Mask
from pipeline.returns.asprs import BRIDGE
from pipeline.returns.cloud import Cloud

CELL_M = 0.5
"""Side in metres of the cells in which roofs are told: an eighth of the side of a shed, and one return at 4 pulses/m2.
Smaller cells are mostly empty, larger ones join houses across a lane. Our choice."""
MIN_HEIGHT_M = 2.0
"""Height above ground, in metres, of the lowest roof: what a person can stand under; common practice, no source."""
MAX_HEIGHT_M = 40.0
"""Height above ground, in metres, of the highest roof: what stands in or near a forest is lower. Our choice."""

Metres = NDArray[np.float64]


@dataclass(frozen=True)
class RoofReturns:
    """All returns of a block on the lattice of cells, and which of them decide.

    Attributes
    ----------
    grid : the lattice
    cell : (n,) flat index of each return's cell
    cloud : the returns
    lowest_m : elevation of the lowest return
    above_m : (n,) metres above the bare earth, NaN where unknown
    is_high_last : (n,) bool
        Last returns that may be roof by their height.
    is_low_last : (n,) bool
        Last returns too low to be roof: pulses that passed.
    """

    grid: Grid
    cell: NDArray[np.int64]
    cloud: Cloud
    lowest_m: float
    above_m: NDArray[np.float32]
    is_high_last: Mask
    is_low_last: Mask

    def places(self, which: NDArray[np.intp], /) -> tuple[Metres, Metres, Metres]:
        """(k,) three times: metres east and north of the lattice's north-west corner, and above the lowest return."""
        cloud = self.cloud
        return (
            cloud.east[which] - self.grid.west_m,
            cloud.north[which] - self.grid.north_m,
            cloud.height[which] - self.lowest_m,
        )


def look(cloud: Cloud, height_above_m: NDArray[np.float32], is_candidate: Mask, /) -> RoofReturns:
    """The returns on the lattice. First and middle returns decide nothing, as leaves give them too."""
    cell_m = CELL_M
    west, south, east, north = cloud.east.min(), cloud.north.min(), cloud.east.max(), cloud.north.max()
    grid = Grid.covering((west, south, east + cell_m, north + cell_m), cell_m=cell_m, crs="")
    decides = cloud.is_last & cloud.is_usable & (cloud.producer_class != BRIDGE)
    is_high = (height_above_m >= MIN_HEIGHT_M) & (height_above_m <= MAX_HEIGHT_M)
    is_high_last = decides & is_candidate & is_high
    return RoofReturns(
        grid=grid,
        cell=grid.cell_index(cloud.east, cloud.north),
        cloud=cloud,
        lowest_m=float(cloud.height.min()),
        above_m=height_above_m,
        is_high_last=is_high_last,
        is_low_last=decides & ~np.isnan(height_above_m) & (height_above_m < MIN_HEIGHT_M),
    )
