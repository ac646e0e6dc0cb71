"""Channels: where water gathers and the ground shows a bed or a narrow valley floor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString, Point
from shapely.ops import substring

from pipeline.lattice.grid import Grid
from pipeline.lattice.larger_cells import cells_times_as_wide
from pipeline.norm.symbols import isom
from pipeline.water.running.dams import without_dams
from pipeline.water.running.drainage import downstream, drain, gathered
from pipeline.water.running.incision import beds, incised
from pipeline.water.running.inflow import inflow
from pipeline.water.running.lanes import in_lane
from pipeline.water.running.reaches import lines_of, reaches
from pipeline.water.running.sections import APART_M, bed_depth_m, cross_sections, over_smooth_m
from pipeline.water.sight.ground import Read, times_for

FLOW_CELL_M = 2.0
"""Side in metres of the cells that water is led over: about the width of a small channel. Smaller cells make water
follow the noise of the ground, larger ones join neighbouring channels. Our choice."""
MOST_FLOW_CELLS = 20_000_000
"""Most cells that water is led over, for the sake of memory: some 75 bytes each. A frame of more than 80 square
kilometres gets larger cells: 3 m up to 180, 4 m up to 320 square kilometres. On five scenes cells of 3 and 4 m still
found 82 to 100 % of the channels that cells of 2 m find, 1 to 2 m beside them, and half as much again was drawn that
these do not show; cells of 6 and 8 m found 52 to 93 %. Our choice."""

HEAD_DRAINED_M2 = 100.0
"""Ground, in square metres, down to which a channel with a bed is followed up beyond its head: the bottom of a ditch
gets that from its own banks in 20 m. Our choice."""
BED_MIN_M = 0.1
"""Metres that a bed must be cut into its valley for a channel to go on above its head: two standard errors of the bare
earth over a channel. Our choice."""


@dataclass(frozen=True)
class Channel:
    """A stretch of channel, its line running downstream.

    Attributes
    ----------
    line : LineString in the working CRS
    depth_m : float
        Median height of the lower of both sides above the channel (`incision.SIDE_M`).
    bed_m : float
        How far a bed is cut into the valley (`sections.bed_depth_m`), the median along the line.
    drained_m2 : float
        Ground that drains to its lower end, as far as the survey reaches.
    is_fed_from_outside : bool
        A valley enters the survey above it, so that it drains more than was seen.
    """

    line: LineString
    depth_m: float
    bed_m: float
    drained_m2: float
    is_fed_from_outside: bool


def find_channels(
    bare_earth: Read, aimed_pulses: Read, grid: Grid, /, *, min_drained_m2: float, min_depth_m: float
) -> list[Channel]:
    """Stretches of channel, longest first.

    Water is led over the bare earth, out of every hollow by its lowest way out. Where enough ground drains to a place
    and the ground rises on both sides within a few metres, a channel is proposed; whether there is water in it, and
    how long in the year, lidar does not tell. Sunken lanes are left out: water gathers in them, but they are dry.

    Parameters
    ----------
    bare_earth : the raster by windows, metres
    aimed_pulses : pulses a cell that they were aimed at, of those that met anything
    grid : that it lies on
    min_drained_m2 : float
        Ground that must drain to a place for a channel to be proposed there.
    min_depth_m : float
        How much higher than the bed both sides must stand.
    """
    usual = max(1, round(FLOW_CELL_M / grid.cell_m))
    every = times_for(grid, most_cells=MOST_FLOW_CELLS, least_times=usual)
    lattice = cells_times_as_wide(grid, every)
    heights, depth = beds(bare_earth, grid, lattice, every)
    drainage = drain(without_dams(heights, lattice.cell_m))
    is_fed = downstream(drainage, inflow(heights, depth, drainage, lattice.cell_m, min_depth_m=min_depth_m))
    del heights
    drained_m2 = gathered(drainage) * lattice.cell_m**2
    # A stream that comes from outside the survey is larger than every one that begins in it.
    size = np.where(is_fed, drained_m2.max(initial=0.0) + drained_m2, drained_m2)
    begun = (drained_m2 >= min_drained_m2) | is_fed
    parts = [
        reach[part]
        for reach in reaches(drainage, (drained_m2 >= min(HEAD_DRAINED_M2, min_drained_m2)) | is_fed, size)
        if begun[reach[-1]]
        for part in incised(depth.ravel()[reach], lattice.cell_m, min_depth_m=min_depth_m)
        if begun[reach[part][-1]]
    ]
    lines = lines_of(parts, bare_earth, grid, lattice, every)
    found = [
        Channel(
            piece, float(np.nanmedian(depth.ravel()[part])), bed_m, float(drained_m2[part[-1]]), bool(is_fed[part[-1]])
        )
        for part, line in zip(parts, lines, strict=True)
        if line.length >= isom("306").smallest.length_m
        for piece, bed_m in _pieces(line, _place(lattice, part[np.argmax(begun[part])]), bare_earth, aimed_pulses, grid)
    ]
    return sorted(found, key=lambda channel: (-channel.line.length, channel.line.bounds))


def _place(lattice: Grid, cell: int) -> Point:
    row, col = divmod(int(cell), lattice.cols)
    east, north = lattice.centres()
    return Point(east[col], north[row])


def _pieces(
    line: LineString, head: Point, bare_earth: Read, aimed_pulses: Read, grid: Grid
) -> list[tuple[LineString, float]]:
    """What of a line is drawn, each piece with the depth of its bed in metres.

    Above its head, where too little ground drains to it, it goes on for as long as a bed is cut in: a ditch does not
    end in the midst of a field. What is a sunken lane is left out.
    """
    sections = cross_sections(line, bare_earth, aimed_pulses, grid)
    bed_m = bed_depth_m(sections)
    has_bed = np.nan_to_num(over_smooth_m(bed_m)) >= BED_MIN_M
    below = sections.along_m > line.project(head) - APART_M
    without = np.flatnonzero(~below & ~has_bed)
    below[without[-1] + 1 if len(without) else 0 :] = True
    kept = below & ~in_lane(sections)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], kept, [False])).astype(np.int8))).reshape(-1, 2)
    pieces = [
        (substring(line, start * APART_M, min(stop * APART_M, line.length)), _median(bed_m[start:stop]))
        for start, stop in edges.tolist()
    ]
    least_m = isom("306").smallest.length_m
    return [(piece, bed) for piece, bed in pieces if isinstance(piece, LineString) and piece.length >= least_m]


def _median(values: NDArray[np.float64]) -> float:
    """Median of the known values, 0 where there are none."""
    return float(np.nanmedian(values)) if np.isfinite(values).any() else 0.0
