"""How the ground falls: steps measured at every cell down its slope, and grids sampled along lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.compiled import compiled
from pipeline.lattice.fill import fill_nearest
from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.sampling import between

CLIFF_RUN_M = 2.0
"""Ground distance, across lip and foot, over which the fall of a step is measured (our choice). Longer, banks count as
steps; shorter, a face that the grid blurs is cut in two."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Steps:
    """Steps in the ground, all (rows, cols) float64.

    Attributes
    ----------
    fall_m : fall over the run, down the slope and centred on the cell
    excess_m : what of it the slope above and below does not explain
    down_east, down_north : unit vector down the slope
    """

    fall_m: Floats
    excess_m: Floats
    down_east: Floats
    down_north: Floats


LEAST_SLOPE_RATIO = 0.15
"""Smoothed slope (rise over run) below which no step is measured, to save time: a step of half a metre shows twice as
much."""
SMOOTHING_SIGMA_M = 0.75
"""Sigma of the smoothing from which the way down is taken, so that noise does not turn it (our choice)."""


def measure_steps(bare_earth: Heights, grid: Grid, /) -> Steps:
    """The step at every cell, measured along the way down.

    The fall is taken over `CLIFF_RUN_M`, the slope above and below over as much ground again on either side.

    Parameters
    ----------
    bare_earth : (rows, cols) float32, metres
    """
    known = np.isfinite(bare_earth)
    heights = np.nan_to_num(fill_nearest(bare_earth.astype(np.float64)))
    smooth = gaussian(heights, SMOOTHING_SIGMA_M / grid.cell_m)
    to_south, to_east = (np.asarray(part) for part in np.gradient(smooth, grid.cell_m))
    steep = np.maximum(np.hypot(to_south, to_east), 1e-9)
    down_e, down_n = -to_east / steep, to_south / steep
    cells = np.flatnonzero(known & (steep >= LEAST_SLOPE_RATIO))
    fall, excess = np.zeros(grid.shape), np.zeros(grid.shape)
    _measure(heights, known, cells, down_e, down_n, CLIFF_RUN_M / grid.cell_m, fall, excess)
    return Steps(fall, excess, down_e, down_n)


@compiled
def _measure(
    heights: Floats,
    known: Mask,
    cells: NDArray[np.intp],
    down_e: Floats,
    down_n: Floats,
    run_cells: float,
    fall: Floats,
    excess: Floats,
) -> None:
    """Fill in fall and excess at some cells, given by their number in the grid."""
    cols = heights.shape[1]
    for cell in cells:
        row, col = cell // cols, cell % cols
        south, east = -down_n[row, col] * run_cells, down_e[row, col] * run_cells
        top = between(heights, row - 1.5 * south, col - 1.5 * east)
        lip = between(heights, row - 0.5 * south, col - 0.5 * east)
        foot = between(heights, row + 0.5 * south, col + 0.5 * east)
        end = between(heights, row + 1.5 * south, col + 1.5 * east)
        gentle = min(top - lip, foot - end)
        above_below = 0.5 * (top - lip + foot - end)
        fall[row, col] = lip - foot
        # Beyond the edge of what is known the ground seems level, which would make an edge of every steep slope.
        if _is_known(known, row - 1.5 * south, col - 1.5 * east) and _is_known(
            known, row + 1.5 * south, col + 1.5 * east
        ):
            # The gentler side decides most: a cliff may stand on a talus, but then its top is flat, or the other way
            # round.
            excess[row, col] = fall[row, col] - max(0.5 * (gentle + above_below), 0.0)


@compiled
def _is_known(known: Mask, row: float, col: float, /) -> bool:
    """Whether a place lies within the centres of the outermost cells, and all cells with a weight there are known."""
    rows, cols = known.shape
    return 0 <= row <= rows - 1 and 0 <= col <= cols - 1 and between(known, row, col) > 0.99


def smooth_directions(down: Floats, /) -> Floats:
    """Unit vectors averaged over five places, which lie a metre apart along the line."""
    mean = ndimage.uniform_filter1d(down, min(5, len(down)), axis=0, mode="nearest")
    return mean / np.maximum(np.hypot(mean[:, 0], mean[:, 1]), 1e-9)[:, None]
