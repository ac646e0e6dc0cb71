"""Channels: where water gathers and the ground shows a bed or a narrow valley floor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString

from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import cells_times_as_wide, lowest_into
from pipeline.lattice.means import Known, gaussian_window
from pipeline.norm.symbols import isom
from pipeline.water.running.dams import without_dams
from pipeline.water.running.drainage import drain, gathered
from pipeline.water.running.incision import channel_depth, incised
from pipeline.water.running.inflow import inflow
from pipeline.water.running.reaches import line_of, reaches

FLOW_CELL_M = 2.0
"""Side in metres of the cells that water is led over: about the width of a small channel. Smaller cells make water
follow the noise of the ground, larger ones join neighbouring channels. Our choice."""
NOISE_SIGMA_M = 0.75
"""Standard deviation, in metres, of the gaussian window with which the bare earth is smoothed before channels are
looked for. Our choice."""


@dataclass(frozen=True)
class Channel:
    """A stretch of channel, its line running downstream.

    Attributes
    ----------
    line : LineString in the working CRS
    depth_m : float
        Median height of the lower of both sides above the channel (`incision.SIDE_M`).
    drained_m2 : float
        Ground that drains to its lower end, as far as the survey reaches.
    is_fed_from_outside : bool
        A valley enters the survey above it, so that it drains more than was seen.
    """

    line: LineString
    depth_m: float
    drained_m2: float
    is_fed_from_outside: bool


def find_channels(bare_earth: Heights, grid: Grid, /, *, min_drained_m2: float, min_depth_m: float) -> list[Channel]:
    """Stretches of channel, longest first.

    Water is led over the bare earth, out of every hollow by its lowest way out. Where enough ground drains to a place
    and the ground rises on both sides within a few metres, a channel is proposed; whether there is water in it, and
    how long in the year, lidar does not tell.

    Parameters
    ----------
    bare_earth : (rows, cols) float32, metres
    min_drained_m2 : float
        Ground that must drain to a place for a channel to be proposed there.
    min_depth_m : float
        How much higher than the bed both sides must stand.
    """
    every = max(1, round(FLOW_CELL_M / grid.cell_m))
    smooth = _smoothed(bare_earth, NOISE_SIGMA_M / grid.cell_m)
    # The lowest of a coarse cell keeps a channel connected that is narrower than the cell.
    lattice = cells_times_as_wide(grid, every)
    coarse = lowest_into(smooth, grid, lattice, every)
    depth = channel_depth(smooth, grid, lattice, every)
    drainage = drain(without_dams(coarse, lattice.cell_m))
    fed = inflow(coarse, depth, drainage, lattice.cell_m, min_depth_m=min_depth_m)
    drained = gathered(drainage, np.full(coarse.size, lattice.cell_m**2))
    from_outside = gathered(drainage, fed)
    is_fed = (from_outside > 0).reshape(coarse.shape)
    wet = ((drained >= min_drained_m2) | (from_outside > 0)).reshape(coarse.shape)
    min_length_m = isom("306").smallest.length_m
    found: list[Channel] = []
    size = np.where(from_outside > 0, drained.max(initial=0.0) + drained, drained)
    for reach in reaches(drainage, wet.ravel(), size):
        for part in incised(depth.ravel()[reach], lattice.cell_m, min_depth_m=min_depth_m):
            cells = reach[part]
            line = line_of(cells, bare_earth, grid, lattice)
            if line.length >= min_length_m:
                median = float(np.nanmedian(depth.ravel()[cells]))
                found.append(Channel(line, median, float(drained[cells[-1]]), bool(is_fed.ravel()[cells[-1]])))
    return sorted(found, key=lambda channel: (-channel.line.length, channel.line.bounds))


def _smoothed(heights: Heights, sigma_cells: float) -> NDArray[np.float64]:
    """Gaussian mean of the known heights around each known cell; NaN stays NaN."""
    known = Known.of(np.isfinite(heights), gaussian_window(sigma_cells, rim="reflect"))
    return np.where(known.cells, known.mean(heights.astype(np.float64), least_share=1e-9), np.nan)
