"""Watercourses: from a bed that is seen, or a valley floor to which enough ground drains, down to lake or edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString
from shapely.ops import substring

from pipeline.lattice.grid import Grid
from pipeline.norm.symbols import isom
from pipeline.remembered import Remembered, nothing_remembered
from pipeline.water.running.along import Counts, runs_along, starts_of
from pipeline.water.running.courses import wet_cells
from pipeline.water.running.flow import Flow, Runoff
from pipeline.water.running.incision import incised
from pipeline.water.running.kinds import SEEN_M, has_valley, is_straight, open_water_m, runs_of, symbols_of
from pipeline.water.running.lanes import in_lane
from pipeline.water.running.links import linked, long_enough
from pipeline.water.running.porous import Floors
from pipeline.water.running.reaches import lines_of, merged, reaches
from pipeline.water.running.sections import (
    APART_M,
    BLUR_M,
    REACH_M,
    Sections,
    bed_depth_m,
    cross_sections,
    in_batches,
    over_smooth_m,
)
from pipeline.water.sight.ground import Read
from pipeline.water.sight.marks import marks_around

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


def find_channels(
    flow: Flow,
    bare_earth: Read,
    aimed_pulses: Read,
    grid: Grid,
    runoff: Runoff,
    /,
    *,
    remembered: Remembered = nothing_remembered,
) -> Running:
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
    remembered : where cross-sections and links of an earlier run are found
    """
    seen = _seen(flow, bare_earth, aimed_pulses, grid, runoff, remembered)
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
        return _shows_bed(lines_of(ways, bare_earth, grid, flow.lattice, flow.every), bare_earth, aimed_pulses, grid)

    traces = [bed for bed in seen.traces if not wet[bed].any()]
    joined, is_trace = linked(chains, traces, flow, seen.has_bed, shows_bed, remembered=remembered)
    lines = lines_of(joined, bare_earth, grid, flow.lattice, flow.every)
    courses = long_enough(joined, lines, is_trace, isom("306").smallest.length_m)
    looks = _looks_of([line for _, line in courses], bare_earth, aimed_pulses, grid, remembered)
    found = [
        channel
        for (chain, line), look in zip(courses, looks.apart(), strict=True)
        for channel in _told_apart(line, chain, flow, look, runoff)
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


def _shows_bed(lines: list[LineString], bare_earth: Read, aimed_pulses: Read, grid: Grid) -> list[bool]:
    """Whether a bed that is no lane is cut in along each link between two courses."""
    shows = shapely.length(lines) <= 2 * APART_M
    long = np.flatnonzero(~shows)
    for some in in_batches([lines[number] for number in long], grid):
        here = long[some]
        sections = cross_sections([lines[number] for number in here], bare_earth, aimed_pulses, grid)
        bed = (over_smooth_m(bed_depth_m(sections), sections) >= BED_MIN_M) & ~in_lane(sections)
        with_bed = np.add.reduceat(bed.astype(np.int64), starts_of(sections.lengths))
        shows[here] = with_bed / sections.lengths >= LINK_BED_SHARE
    return [bool(is_seen) for is_seen in shows]


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


def _seen(
    flow: Flow, bare_earth: Read, aimed_pulses: Read, grid: Grid, runoff: Runoff, remembered: Remembered
) -> _Seen:
    """Courses that are cut in, looked at in cross-sections."""
    count = len(flow.drained_m2)
    followed = (flow.drained_m2 >= min(HEAD_DRAINED_M2, runoff.bed_begins_m2)) | flow.is_fed
    chains = reaches(flow.drainage, followed, flow.size)
    parts = incised(flow.depth, chains, flow.lattice.cell_m, min_depth_m=runoff.min_depth_m)
    lines = lines_of(parts, bare_earth, grid, flow.lattice, flow.every)
    long = np.flatnonzero(shapely.length(lines) >= LEAST_TRACE_M).tolist()
    parts, lines = [parts[number] for number in long], [lines[number] for number in long]
    seen = _Seen(np.zeros(count, np.bool_), np.zeros(count, np.bool_), [], [])
    if not parts:
        return seen
    lengths, cells = np.array([len(part) for part in parts]), np.concatenate(parts)
    at = _sections_of(parts, lines, flow.lattice)
    looks = _looks_of(lines, bare_earth, aimed_pulses, grid, remembered)
    section = at + np.repeat(starts_of(looks.lengths), lengths)
    dry, valley = looks.is_lane[section], looks.is_valley[section]
    bed = _has_bed(looks, flow, cells, lengths, section, runoff) & ~dry
    is_start = np.repeat(shapely.length(lines) >= LEAST_START_M, lengths)
    seen.floor[cells[is_start]] = ~dry[is_start]
    seen.has_bed[cells[is_start]] = bed[is_start]
    kept = bed | ((flow.drained_m2 >= runoff.begins_m2)[cells] & ~dry & valley)
    seen.stretches.extend(_at_least(LEAST_START_M, cells, lengths, at, kept & is_start))
    seen.traces.extend(_at_least(LEAST_TRACE_M, cells, lengths, at, bed))
    return seen


@dataclass(frozen=True)
class _Looks:
    """What the cross-sections of some channels show, each judged over `incision.SMOOTH_M`.

    Attributes
    ----------
    lengths : (channels,) how many cross-sections each channel has
    bed_m, water_m : (n,) depth of the bed and width of open water, metres
    here_m : (n,) depth of the bed in the cross-section itself, metres; NaN beside the edge
    is_lane, is_valley : (n,) bool
    """

    lengths: Counts
    bed_m: NDArray[np.float64]
    water_m: NDArray[np.float64]
    here_m: NDArray[np.float64]
    is_lane: NDArray[np.bool_]
    is_valley: NDArray[np.bool_]

    @classmethod
    def of(cls, sections: Sections, /) -> _Looks:
        """What these cross-sections show."""
        here_m = bed_depth_m(sections)
        bed_m, water_m = over_smooth_m(here_m, sections), open_water_m(sections)
        return cls(sections.lengths, bed_m, water_m, here_m, in_lane(sections), has_valley(sections))

    def apart(self) -> list[_Looks]:
        """What is shown of each channel by itself."""
        if not len(self.lengths):
            return []
        columns = (self.bed_m, self.water_m, self.here_m, self.is_lane, self.is_valley)
        parts = zip(*(np.split(column, np.cumsum(self.lengths)[:-1]) for column in columns), strict=True)
        return [_Looks(np.array([len(part[0])]), *part) for part in parts]

    def as_bytes(self) -> list[bytes]:
        """What is shown of each channel, to be remembered."""
        kinds = self.is_lane + 2 * self.is_valley
        columns = np.column_stack((self.bed_m, self.water_m, self.here_m, kinds))
        return [part.tobytes() for part in np.split(columns, np.cumsum(self.lengths)[:-1])]

    @classmethod
    def from_bytes(cls, parts: Sequence[bytes], /) -> _Looks:
        """What `as_bytes` was given."""
        columns = np.frombuffer(b"".join(parts), np.float64).reshape(-1, 4)
        lengths = np.array([len(part) // (4 * columns.itemsize) for part in parts], np.int64)
        bed_m, water_m, here_m, kinds = columns.T
        return cls(lengths, bed_m, water_m, here_m, kinds % 2 == 1, kinds >= 2)


def _looks_of(
    lines: Sequence[LineString], bare_earth: Read, aimed_pulses: Read, grid: Grid, remembered: Remembered
) -> _Looks:
    """What the cross-sections of lines show; those that run as before over ground as before are not looked at again."""
    marks = marks_around([bare_earth, aimed_pulses], grid, margin_m=REACH_M + 4 * BLUR_M)
    bounds = shapely.bounds(list(lines)).tolist()
    made_from = [wkb + marks(tuple(box)) for wkb, box in zip(shapely.to_wkb(list(lines)), bounds, strict=True)]

    def work_out(numbers: list[int]) -> list[bytes]:
        wanted, found = [lines[number] for number in numbers], [b""] * len(numbers)
        for some in in_batches(wanted, grid):
            sections = cross_sections([wanted[number] for number in some], bare_earth, aimed_pulses, grid)
            for number, part in zip(some.tolist(), _Looks.of(sections).as_bytes(), strict=True):
                found[number] = part
        return found

    return _Looks.from_bytes(remembered("cross-sections of a channel", made_from, work_out))


def _at_least(
    least_m: float, cells: Counts, lengths: Counts, at: Counts, which: NDArray[np.bool_]
) -> list[NDArray[np.int64]]:
    """The runs of chosen cells of chains that are so long; `at` is the cross-section of each cell."""
    starts, stops = runs_along(which, lengths)
    is_long = (at[stops - 1] - at[starts] + 1) * APART_M >= least_m
    return [cells[a:b] for a, b in zip(starts[is_long].tolist(), stops[is_long].tolist(), strict=True)]


def _has_bed(
    looks: _Looks, flow: Flow, cells: Counts, lengths: Counts, at: Counts, runoff: Runoff
) -> NDArray[np.bool_]:
    """(n,) in which cells a bed is cut in, or open water seen, over `incision.SMOOTH_M`.

    Beds to which hardly any ground drains must be deeper.

    Parameters
    ----------
    cells, lengths : (n,) places in the lattice, one chain after the other, and how many of them each chain has
    at : (n,) the cross-section of each cell
    """
    begun = (flow.drained_m2[cells] >= runoff.bed_begins_m2) | flow.is_fed[cells]
    has_begun = np.logical_or.reduceat(begun, starts_of(lengths))
    least_m = np.repeat(np.where(has_begun, BED_MIN_M, BED_SURE_M), lengths)
    found: NDArray[np.bool_] = looks.bed_m[at] >= least_m
    return found | (looks.water_m[at] >= SEEN_M)


def _sections_of(chains: Sequence[NDArray[np.int64]], lines: Sequence[LineString], lattice: Grid) -> Counts:
    """(n,) number of the cross-section of its line that each cell of some chains lies at; never falls downstream."""
    lengths = np.array([len(chain) for chain in chains])
    row, col = np.divmod(np.concatenate(chains), lattice.cols)
    east, north = lattice.centres()
    along = shapely.line_locate_point(np.repeat(list(lines), lengths), shapely.points(east[col], north[row]))
    last = np.maximum(np.ceil(shapely.length(list(lines)) / APART_M) - 1, 0).astype(np.int64)
    # Each chain begins above all that went before, so that none is raised by another.
    step = last.max() + 2
    chain = np.repeat(np.arange(len(lengths)), lengths)
    at = np.minimum((along / APART_M).astype(np.int64), last[chain]) + chain * step
    return np.asarray(np.maximum.accumulate(at) - chain * step, np.int64)


def _told_apart(line: LineString, chain: NDArray[np.int64], flow: Flow, look: _Looks, runoff: Runoff) -> list[Channel]:
    """The stretches of one course that are of different size or kind."""
    at, each = _sections_of([chain], [line], flow.lattice), np.arange(len(look.bed_m), dtype=np.int64)
    cell_at = chain[np.clip(np.searchsorted(at, each, side="right") - 1, 0, None)]
    drained_m2, water_m = flow.drained_m2[cell_at], look.water_m
    has_bed = _has_bed(look, flow, cell_at, look.lengths, each, runoff)
    dug = is_straight(line, np.asarray(each * APART_M, np.float64)) & ~look.is_valley & has_bed
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
                _median(look.here_m[start:stop]),
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
