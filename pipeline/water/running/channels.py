"""Watercourses: from a bed that is seen, or a valley floor to which enough ground drains, down to lake or edge."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString
from shapely.ops import substring

from pipeline.lattice.grid import Grid
from pipeline.norm.symbols import isom
from pipeline.water.running.courses import wet_cells
from pipeline.water.running.flow import Flow, Runoff
from pipeline.water.running.incision import incised
from pipeline.water.running.kinds import SEEN_M, has_valley, is_straight, open_water_m, runs_of, symbols_of
from pipeline.water.running.lanes import in_lane
from pipeline.water.running.links import linked, long_enough
from pipeline.water.running.porous import Floors
from pipeline.water.running.reaches import lines_of, merged, reaches
from pipeline.water.running.sections import APART_M, Sections, bed_depth_m, cross_sections, over_smooth_m
from pipeline.water.sight.ground import Read

HEAD_DRAINED_M2 = 50.0
"""Ground, in square metres, down to which a channel with a bed is followed up beyond its head: the bottom of a ditch
gets that from its own banks in 10 m. Our choice."""
BED_SURE_M = 0.15
"""Depth of a bed in metres from which it is drawn although hardly any ground drains to it: a ditch across a slope or
over a rise. Our choice."""
LEAST_START_M = 20.0
"""Length in metres of the shortest bed or valley floor from which a course begins: over shorter ones nothing is judged
(`incision.SMOOTH_M`). Our choice."""
LEAST_TRACE_M = 10.0
"""Length in metres of the shortest bed that a course may be joined to (`links`), though none begins there. Our
choice."""
LEAST_STRETCH_M = 60.0
"""Least length of a course, in metres, that is drawn with another symbol than what comes before it. Our choice."""
BED_MIN_M = 0.05
"""Metres that a bed must be cut into its valley, over `incision.SMOOTH_M`, to count as seen. Fitted on two made scenes
(moraine, farmland): of the length of true channels 0.95 had more, of valleys without one, and of troughs in real lava,
0.05."""


@dataclass(frozen=True)
class Channel:
    """A stretch of watercourse, its line running downstream.

    Attributes
    ----------
    line : LineString in the working CRS
    symbol : "304", "305" or "306", by size (`kinds.symbols_of`)
    depth_m : float
        Median height of the lower of both sides above the channel (`incision.SIDE_M`).
    bed_m : float
        How far a bed is cut into the valley (`sections.bed_depth_m`), the median along the line.
    bed_share : float, 0..1
        Share of the length along which a bed is seen.
    water_m : float
        Width of open water, from pulses that met nothing; 0 where none was seen.
    is_dug : bool
        It is straight and follows no valley, as ditches do.
    drained_m2 : float
        Ground that drains to its lower end, as far as the survey reaches.
    is_fed_from_outside : bool
        A valley enters the survey above it, so that it drains more than was seen.
    """

    line: LineString
    symbol: str
    depth_m: float
    bed_m: float
    bed_share: float
    water_m: float
    is_dug: bool
    drained_m2: float
    is_fed_from_outside: bool


class Running(NamedTuple):
    """The watercourses of an area, longest first, and its valley floors."""

    channels: list[Channel]
    floors: Floors


def find_channels(flow: Flow, bare_earth: Read, aimed_pulses: Read, grid: Grid, runoff: Runoff, /) -> Running:
    """Watercourses, longest first, and what the valley floors say about the ground.

    Water is led over the bare earth, out of shallow hollows by their lowest way out, and through low banks as through
    culverts. A course begins where a bed is cut in, or where enough ground drains to a valley floor for the climate to
    run, and goes on to a lake, the edge of the survey, or a deep hollow, where water sinks. Whether there is water in
    it, and how long in the year, lidar does not tell. Sunken lanes are left out: water gathers in them, but they are
    dry.

    Parameters
    ----------
    flow : water led over the ground
    bare_earth : the raster by windows, metres
    aimed_pulses : pulses a cell that they were aimed at, of those that met anything
    grid : that it lies on
    runoff : when water runs
    """
    seen = _seen(flow, bare_earth, aimed_pulses, grid, runoff)
    runs = flow.drained_m2 >= runoff.begins_m2
    floors = _floors(seen, runs, flow, runoff)
    if floors.is_porous:
        runs = np.zeros_like(runs)
    starts = np.array(
        [cells[0] for cells in seen.stretches if seen.has_bed[cells].any() or runs[cells].any()], np.int64
    )
    wet = wet_cells(flow.drainage, starts, seen.has_bed | runs, cell_m=flow.lattice.cell_m)
    chains = merged(reaches(flow.drainage, wet, flow.size), flow.size, flow.lattice.shape)

    def shows_bed(ways: list[NDArray[np.int64]]) -> list[bool]:
        lines = lines_of(ways, bare_earth, grid, flow.lattice, flow.every)
        return [_shows_bed(line, bare_earth, aimed_pulses, grid) for line in lines]

    joined, is_trace = linked(chains, [bed for bed in seen.traces if not wet[bed].any()], flow, seen.has_bed, shows_bed)
    lines = lines_of(joined, bare_earth, grid, flow.lattice, flow.every)
    found = [
        channel
        for chain, line in long_enough(joined, lines, is_trace, isom("306").smallest.length_m)
        for channel in _told_apart(line, chain, flow, cross_sections(line, bare_earth, aimed_pulses, grid), runoff)
    ]
    return Running(sorted(found, key=lambda channel: (-channel.line.length, channel.line.bounds)), floors)


def _floors(seen: _Seen, runs: NDArray[np.bool_], flow: Flow, runoff: Runoff) -> Floors:
    """The valley floors to which enough ground drains for water to run."""
    cell_m = flow.lattice.cell_m
    floor = seen.floor & runs
    floor_m, bed_m = (float(np.count_nonzero(cells)) * cell_m for cells in (floor, floor & seen.has_bed))
    return Floors(float(np.isfinite(flow.heights).sum()) * cell_m**2 / 1e6, floor_m, bed_m, runoff.porous)


LINK_BED_SHARE = 0.6
"""Share of a link between two courses along which its bed must be seen. Our choice."""


def _shows_bed(line: LineString, bare_earth: Read, aimed_pulses: Read, grid: Grid) -> bool:
    """Whether a bed that is no lane is cut in along a link between two courses."""
    if line.length <= 2 * APART_M:
        return True
    sections = cross_sections(line, bare_earth, aimed_pulses, grid)
    bed = (over_smooth_m(bed_depth_m(sections)) >= BED_MIN_M) & ~in_lane(sections)
    return bool(bed.mean() >= LINK_BED_SHARE)


@dataclass(frozen=True)
class _Seen:
    """What the ground shows along the courses of water; flat arrays of cells.

    Attributes
    ----------
    floor : (n,) bool
        The ground rises on both sides.
    has_bed : (n,) bool
        A bed is cut in that is no sunken lane.
    stretches : list of (k,) int64
        Cells of each stretch of bed or valley floor that is long enough for a course to begin, downstream.
    traces : list of (k,) int64
        The same of beds that are too short for that.
    """

    floor: NDArray[np.bool_]
    has_bed: NDArray[np.bool_]
    stretches: list[NDArray[np.int64]]
    traces: list[NDArray[np.int64]]


def _seen(flow: Flow, bare_earth: Read, aimed_pulses: Read, grid: Grid, runoff: Runoff) -> _Seen:
    """Courses that are cut in, looked at in cross-sections."""
    count = len(flow.drained_m2)
    seen = _Seen(np.zeros(count, np.bool_), np.zeros(count, np.bool_), [], [])
    followed = (flow.drained_m2 >= min(HEAD_DRAINED_M2, runoff.bed_begins_m2)) | flow.is_fed
    parts = [
        reach[part]
        for reach in reaches(flow.drainage, followed, flow.size)
        for part in incised(flow.depth[reach], flow.lattice.cell_m, min_depth_m=runoff.min_depth_m)
    ]
    runs = flow.drained_m2 >= runoff.begins_m2
    lines = lines_of(parts, bare_earth, grid, flow.lattice, flow.every)
    for part, line in zip(parts, lines, strict=True):
        if line.length < LEAST_TRACE_M:
            continue
        sections = cross_sections(line, bare_earth, aimed_pulses, grid)
        at = _sections_of(part, line, flow.lattice)
        dry = in_lane(sections)[at]
        bed = _has_bed(sections, flow.drained_m2[part], flow.is_fed[part], at, runoff) & ~dry
        if line.length >= LEAST_START_M:
            seen.floor[part] = ~dry
            seen.has_bed[part] = bed
            kept = bed | (runs[part] & ~dry & has_valley(sections)[at])
            seen.stretches.extend(_at_least(LEAST_START_M, part, at, kept))
        seen.traces.extend(_at_least(LEAST_TRACE_M, part, at, bed))
    return seen


def _at_least(
    least_m: float, part: NDArray[np.int64], at: NDArray[np.int64], which: NDArray[np.bool_]
) -> list[NDArray[np.int64]]:
    """The runs of chosen cells of a chain that are so long; `at` is the cross-section of each cell."""
    return [part[a:b] for a, b in _runs(which) if (at[b - 1] - at[a] + 1) * APART_M >= least_m]


def _has_bed(
    sections: Sections,
    drained_m2: NDArray[np.float64],
    is_fed: NDArray[np.bool_],
    at: NDArray[np.int64],
    runoff: Runoff,
) -> NDArray[np.bool_]:
    """(n,) in which cells a bed is cut in, or open water seen, over `incision.SMOOTH_M`; `at` is each one's section.

    Beds to which hardly any ground drains must be deeper.
    """
    begun = (drained_m2 >= runoff.bed_begins_m2) | is_fed
    least_m = BED_MIN_M if begun.any() else BED_SURE_M
    found: NDArray[np.bool_] = over_smooth_m(bed_depth_m(sections))[at] >= least_m
    return found | (open_water_m(sections)[at] >= SEEN_M)


def _sections_of(cells: NDArray[np.int64], line: LineString, lattice: Grid) -> NDArray[np.int64]:
    """(n,) number of the cross-section of a line that each cell lies at; never falls downstream."""
    row, col = np.divmod(cells, lattice.cols)
    east, north = lattice.centres()
    along = shapely.line_locate_point(line, shapely.points(east[col], north[row]))
    last = max(0, math.ceil(line.length / APART_M) - 1)
    return np.clip(np.maximum.accumulate(along) / APART_M, 0, last).astype(np.int64)


def _runs(which: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last place (exclusive) of each run."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], which.astype(np.int8), [0])))).reshape(-1, 2)
    return [(int(a), int(b)) for a, b in edges]


def _told_apart(
    line: LineString, chain: NDArray[np.int64], flow: Flow, sections: Sections, runoff: Runoff
) -> list[Channel]:
    """The stretches of one course that are of different size or kind."""
    at = _sections_of(chain, line, flow.lattice)
    cell_at = chain[np.clip(np.searchsorted(at, np.arange(len(sections.along_m)), side="right") - 1, 0, None)]
    drained_m2 = flow.drained_m2[cell_at]
    water_m, bed_m = open_water_m(sections), bed_depth_m(sections)
    has_bed = _has_bed(sections, drained_m2, flow.is_fed[cell_at], np.arange(len(cell_at)), runoff)
    dug = is_straight(line, sections.along_m) & ~has_valley(sections) & has_bed
    symbol = symbols_of(drained_m2, water_m, dug, begins_m2=runoff.begins_m2)
    kind = np.char.add(symbol, np.where(dug, "d", ""))
    found = []
    for start, stop in runs_of(kind, LEAST_STRETCH_M):
        end_m = line.length if stop == len(kind) else stop * APART_M
        piece = substring(line, start * APART_M, end_m)
        usual = max(set(kind[start:stop].tolist()), key=kind[start:stop].tolist().count)
        if not isinstance(piece, LineString):
            continue
        found.append(
            Channel(
                piece,
                usual[:3],
                _median(flow.depth[cell_at[start:stop]]),
                _median(bed_m[start:stop]),
                float(has_bed[start:stop].mean()),
                _median(water_m[start:stop]),
                usual.endswith("d"),
                float(drained_m2[stop - 1]),
                bool(flow.is_fed[cell_at[stop - 1]]),
            )
        )
    return found


def _median(values: NDArray[np.float64]) -> float:
    """Median of the known values, 0 where there are none."""
    return float(np.nanmedian(values)) if np.isfinite(values).any() else 0.0
