"""How high the stand is around each place, whatever the gaps between its crowns."""

from __future__ import annotations

import numpy as np

from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import highest_into, larger_cells
from pipeline.lattice.windows import highest_around, lowest_around

CROWN_M = 7.0
"""Width of a crown. Gaps narrower than this belong to the stand; were it smaller, every gap would be an edge, were it
larger, edges would lie beside where they are (common practice, no source)."""
STAND_CELL_M = 1.0
"""Least cell in which stands are looked at: a seventh of a crown. Finer cells cost time and show twigs (our choice)."""


def stands_of(canopy_height: Heights, grid: Grid, /) -> tuple[Heights, Grid]:
    """`stand_height` in cells of STAND_CELL_M or more, and their grid."""
    larger, times = larger_cells(grid, least_m=STAND_CELL_M)
    return stand_height(highest_into(canopy_height, grid, larger, times), cell_m=larger.cell_m), larger


def stand_height(canopy_height: Heights, /, *, cell_m: float) -> Heights:
    """Height of the stand around each cell, (rows, cols) metres: gaps narrower than a crown filled, edges kept.

    Parameters
    ----------
    canopy_height : (rows, cols) metres above ground; NaN counts as bare
    """
    reach = round(CROWN_M / cell_m / 2)
    highest = lowest_around(highest_around(np.nan_to_num(canopy_height), reach), reach)
    return gaussian(highest, CROWN_M / 2 / cell_m, rim="nearest")
