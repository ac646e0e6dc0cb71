"""How the ground falls: steps measured at every cell down its slope, and grids sampled along lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.fill import fill_nearest
from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.sampling import bilinear

CLIFF_RUN_M = 2.0
"""Ground distance, across lip and foot, over which the fall of a step is measured (our choice). Longer, banks count as
steps; shorter, a face that the grid blurs is cut in two."""

Floats = NDArray[np.float64]
Cells = tuple[NDArray[np.intp], ...]
"""Rows and columns."""


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


@dataclass(frozen=True)
class _Way:
    """The way down from some cells, (k,) each, and how far it is followed."""

    down_e: Floats
    down_n: Floats
    run_m: float
    grid: Grid


LEAST_SLOPE_RATIO = 0.15
"""Smoothed slope (rise over run) below which no step is measured, to save time: a step of half a metre shows twice as
much."""
SMOOTHING_SIGMA_M = 0.75
"""Sigma of the smoothing from which the way down is taken, so that noise does not turn it (our choice)."""

CELLS_AT_A_TIME = 500_000
"""Cells at which falls are measured at a time, so that what is worked out on the way needs 100 MB at most."""


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
    fall, excess = np.zeros((2, *grid.shape))
    is_known = known.astype(np.float64)
    cells = np.flatnonzero(known & (steep >= LEAST_SLOPE_RATIO))
    del to_south, to_east, steep, smooth
    for first in range(0, len(cells), CELLS_AT_A_TIME):
        chosen = np.unravel_index(cells[first : first + CELLS_AT_A_TIME], grid.shape)
        way = _Way(down_e[chosen], down_n[chosen], CLIFF_RUN_M, grid)
        fall[chosen], excess[chosen] = _falls(heights, is_known, chosen, way)
    return Steps(fall, excess, down_e, down_n)


def _falls(heights: Floats, is_known: Floats, cells: Cells, way: _Way, /) -> tuple[Floats, Floats]:
    """Fall and excess at some cells."""
    at = {share: _along(heights, cells, way, share) for share in (-1.5, -0.5, 0.5, 1.5)}
    fall = at[-0.5] - at[0.5]
    gentle = np.minimum(at[-1.5] - at[-0.5], at[0.5] - at[1.5])
    above_below = 0.5 * (at[-1.5] - at[-0.5] + at[0.5] - at[1.5])
    # The gentler side decides most: a cliff may stand on a talus, but then its top is flat, or the other way round.
    excess = fall - np.maximum(0.5 * (gentle + above_below), 0)
    # Beyond the edge of what is known the ground seems level, which would make an edge of every steep slope.
    ends = [_along(is_known, cells, way, share, beyond=0.0) for share in (-1.5, 1.5)]
    return fall, np.where(np.minimum(*ends) > 0.99, excess, 0)


def _along(heights: Floats, cells: Cells, way: _Way, share: float, /, *, beyond: float | None = None) -> Floats:
    """Height a share of the run down the slope from some cells; beyond the grid the nearest, or what is given."""
    distance = share * way.run_m / way.grid.cell_m
    return bilinear(heights, cells[0] - way.down_n * distance, cells[1] + way.down_e * distance, beyond=beyond)


def smooth_directions(down: Floats, /) -> Floats:
    """Unit vectors averaged over five places, which lie a metre apart along the line."""
    mean = ndimage.uniform_filter1d(down, min(5, len(down)), axis=0, mode="nearest")
    return mean / np.maximum(np.hypot(mean[:, 0], mean[:, 1]), 1e-9)[:, None]
