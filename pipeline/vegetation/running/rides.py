"""Rides: straight openings through forest, a few metres wide, found from where pulses come through untouched."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from rasterio.features import rasterize
from scipy import fft, ndimage
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.windows import highest_around
from pipeline.settings import VegetationSettings
from pipeline.vegetation.running.density import layer_thickness_m, plant_area_density
from pipeline.vegetation.running.runnability import Limits, band_of

RIDE_DIRECTIONS = 36
"""Directions tried for rides: 5 degrees apart, 1.5 m aside after 20 m."""
RIDE_ALONG_M = 18.0
"""Sigma along a ride: counts over the 64 m that the shortest 508 is long."""
RIDE_ACROSS_M = 1.2
"""Sigma across a ride: counts over some 4 m, the width of a ride."""
RIDE_SIDE_M = 6.0
"""Distance of the two sides a ride is compared with: clear of an 8 m strip."""
RIDE_MIN_PULSES_PER_M2 = 0.2
"""With fewer pulses a strip tells nothing."""
RIDE_MIN_STEADY_RATIO = 0.7
"""Share of a ride's sections that must be clearer: rows of crown gaps are patchy."""
RIDE_MIN_EVIDENCE = 1.3
"""Contrast times root of sections of 8 m; rows of crown gaps reach 1.05 in some hectares of forest."""
RIDE_OPEN_SIDE_RATIO = 0.9
"""A side that lets more through is open land or a glade, not forest: it tells nothing of a ride."""
RIDE_SAME_TURN_DEG = 20.0
"""A place on a ride already found that turns off by less belongs to it: four of the directions tried."""
RIDE_MIN_END_EVIDENCE = 0.75
"""The same for each end of a ride beyond open land: a lone gap may be in line."""
RIDE_MAX_WIDTH_M = 12.0
"""Wider openings are open land; 15 m is the least side of 403 (1 mm at 1:15 000)."""
RIDE_SECTION_M = 8.0
"""Length of the sections a ride is followed in: a crown's width."""
RIDE_MIN_LENGTH_M = 64.0
"""Shortest ride: two dashes of 508, 4.25 mm at 1:15 000 (from memory)."""
RIDE_GAP_M = 40.0
"""Longest gap in forest over which a ride is joined: crowns closing above it."""
RIDE_OPEN_GAP_M = 120.0
"""Longest gap in open land over which it is joined, where it is in line beyond."""

STRIP_REACH_M = 16.0
"""How far to either side of a line counts are laid out: the sides of a ride and room to move it."""
BARRIER = -1e6
"""Score of sections that no run may pass."""


@dataclass(frozen=True)
class Contrast:
    """How much clearer a strip through each cell is than the ground on both sides of it.

    Attributes
    ----------
    strength : (rows, cols) float32
        Clear share within the strip minus that of the clearer side, for the best direction.
    direction : (rows, cols) int16
        That direction, a multiple of pi / n_directions counter-clockwise from east.
    """

    strength: Heights
    direction: NDArray[np.int16]
    n_directions: int


def strip_contrast(clear: Heights, pulses: Heights, /, *, cell_m: float) -> Contrast:
    """Contrast of a strip with its two sides, over all directions.

    The strip is a Gaussian of sigma ride_along_m along and ride_across_m across; the sides are the same strip, moved
    by ride_side_m to the left and to the right. Taking the clearer side leaves the edges of open land without
    contrast. Cells reach 4 ride_along_m around themselves.
    """
    n = RIDE_DIRECTIONS
    margin = int(np.ceil(4 * RIDE_ALONG_M / cell_m))
    shape = tuple(fft.next_fast_len(size + margin, real=True) for size in clear.shape)
    spectra = [np.asarray(fft.rfft2(grid.astype(np.float32), s=shape), np.complex64) for grid in (clear, pulses)]
    north = fft.fftfreq(shape[0]).astype(np.float32)[:, None] / -cell_m
    east = fft.rfftfreq(shape[1]).astype(np.float32)[None, :] / cell_m
    strength = np.full(clear.shape, -1, np.float32)
    direction = np.zeros(clear.shape, np.int16)
    for k in range(n):
        angle = np.pi * k / n
        values = _one_direction(spectra, east, north, shape, clear.shape, angle, cell_m=cell_m)
        better = values > strength
        strength[better] = values[better]
        direction[better] = k
    return Contrast(strength, direction, n)


def _one_direction(
    spectra: list[NDArray[np.complex64]],
    east: NDArray[np.float32],
    north: NDArray[np.float32],
    padded: tuple[int, ...],
    shape: tuple[int, int],
    angle: float,
    *,
    cell_m: float,
) -> Heights:
    """Contrast for a strip that runs at `angle` (radians, counter-clockwise from east)."""
    along = east * np.cos(angle) + north * np.sin(angle)
    across = north * np.cos(angle) - east * np.sin(angle)
    spread = (along * RIDE_ALONG_M) ** 2 + (across * RIDE_ACROSS_M) ** 2
    window = np.exp(np.float32(-2 * np.pi**2) * spread).astype(np.float32)
    clear, pulses = (fft.irfft2(spectrum * window, s=padded, workers=1) for spectrum in spectra)
    share = np.where(pulses > RIDE_MIN_PULSES_PER_M2 * cell_m**2, clear / np.maximum(pulses, 1e-6), np.nan)
    right, up = -np.sin(angle) * RIDE_SIDE_M / cell_m, np.cos(angle) * RIDE_SIDE_M / cell_m
    left_side = np.roll(share, (round(up), -round(right)), axis=(0, 1))
    right_side = np.roll(share, (-round(up), round(right)), axis=(0, 1))
    contrast = share - np.maximum(left_side, right_side)
    return np.asarray(np.nan_to_num(contrast[: shape[0], : shape[1]], nan=-1), np.float32)


@dataclass(frozen=True)
class Ride:
    """A straight opening.

    Attributes
    ----------
    start, end : east, north in metres
    clear_ratio : share of pulses that come through within it
    side_ratio : the same on its clearer side, mean over its length
    seen_m : length over which it is seen
    gap_m : length over which it is only joined, in forest and in open land
    width_m : between the places where half its contrast is left
    evidence : contrast times the root of the number of sections it is seen in
    """

    start: tuple[float, float]
    end: tuple[float, float]
    clear_ratio: float
    side_ratio: float
    seen_m: float
    gap_m: float
    width_m: float
    evidence: float


def find_rides(clear: Heights, pulses: Heights, grid: Grid, /, *, settings: VegetationSettings) -> list[Ride]:
    """Straight openings through forest, the clearest first.

    Candidates are the places of strongest `strip_contrast`. Along each candidate's line, sections of
    ride_section_m are compared with their two sides. A ride is a run of sections clearer than both sides: it may pass
    gaps in forest of ride_gap_m, and reach across open land of ride_open_gap_m, where nothing shows it but nothing
    speaks against it either, if it goes on straight on the other side. What bends is no ride but a path or a track.

    Parameters
    ----------
    clear, pulses : (rows, cols) pulses that met no plant, and all pulses
    """
    contrast = strip_contrast(clear, pulses, cell_m=grid.cell_m)
    rides: list[Ride] = []
    for middle, angle in _candidates(contrast, grid, settings):
        if any(_lies_on(middle, angle, ride) for ride in rides):
            continue
        ride = _follow(middle, angle, clear, pulses, grid, settings)
        # A place just past the end of a ride leads back onto it.
        if ride is not None and not any(_lies_on(*_middle_of(ride), other) for other in rides):
            rides.append(ride)
    return rides


def _candidates(
    contrast: Contrast, grid: Grid, settings: VegetationSettings
) -> list[tuple[NDArray[np.float64], float]]:
    """Place and direction (radians) of the local maxima of contrast, strongest first."""
    peak = highest_around(contrast.strength, int(RIDE_SIDE_M / grid.cell_m))
    row, col = np.nonzero((contrast.strength == peak) & (contrast.strength >= settings.ride_min_contrast))
    order = np.argsort(-contrast.strength[row, col], kind="stable")
    east, north = grid.centres()
    angle = contrast.direction[row, col] * np.pi / contrast.n_directions
    return [(np.array([east[col[i]], north[row[i]]]), float(angle[i])) for i in order]


def _middle_of(ride: Ride) -> tuple[NDArray[np.float64], float]:
    """Middle and direction (radians) of a ride."""
    start, end = np.array(ride.start), np.array(ride.end)
    return (start + end) / 2, float(np.arctan2(end[1] - start[1], end[0] - start[0]))


def _lies_on(middle: NDArray[np.float64], angle: float, ride: Ride) -> bool:
    """Whether a candidate is part of a ride already found."""
    start, end = np.array(ride.start), np.array(ride.end)
    unit = (end - start) / np.hypot(*(end - start))
    along = float(np.clip((middle - start) @ unit, 0, np.hypot(*(end - start))))
    distance = float(np.hypot(*(middle - start - along * unit)))
    turn = abs((angle - np.arctan2(unit[1], unit[0]) + np.pi / 2) % np.pi - np.pi / 2)
    return distance < 2 * RIDE_SIDE_M and turn < np.radians(RIDE_SAME_TURN_DEG)


def ride_symbol(
    line: LineString, entered: Heights, stopped: Heights, grid: Grid, /, *, limits: Limits, settings: VegetationSettings
) -> str:
    """508 with the variant that the running within the ride asks for.

    ISOM 2017-2: without a colour where it is as runnable as its surroundings; 508.2 (white) normal, 508.3 (light green)
    slow, 508.4 (green) walk, where it is better than they are. 508.1 (yellow, easy running) is left to the mapper: a
    lawn and a forest floor look alike from above.
    """
    half = RIDE_ACROSS_M * 1.25
    inner, outer = RIDE_SIDE_M - 2, RIDE_SIDE_M + 4
    inside = line.buffer(half, cap_style="flat")
    beside = line.buffer(outer, cap_style="flat").difference(line.buffer(inner, cap_style="flat"))
    bands = [_band_within(shape, entered, stopped, grid, limits, settings) for shape in (inside, beside)]
    if min(bands) < 0 or bands[0] >= bands[1]:
        return "508"
    return ("508.2", "508.3", "508.4")[bands[0]]


def _band_within(
    shape: BaseGeometry, entered: Heights, stopped: Heights, grid: Grid, limits: Limits, settings: VegetationSettings
) -> int:
    """Band of all pulses within a shape together; -1 where none entered."""
    cells = rasterize([shape], out_shape=grid.shape, transform=grid.transform, all_touched=False).astype(np.bool_)
    counts = np.array([entered[cells].sum()]), np.array([stopped[cells].sum()])
    layer_m = layer_thickness_m(settings.running_bottom_m, settings.running_top_m)
    density = plant_area_density(*counts, layer_m=layer_m, extinction=settings.extinction)
    return int(band_of(density, limits=limits)[0])


# ---------------------------------------------------------------- along one line


@dataclass(frozen=True)
class _Line:
    """A straight line: the point `start` + t * `unit`, its left at right angles to it."""

    start: NDArray[np.float64]
    unit: NDArray[np.float64]

    @property
    def left(self) -> NDArray[np.float64]:
        return np.array([-self.unit[1], self.unit[0]])

    def at(self, t_m: float) -> tuple[float, float]:
        east, north = self.start + t_m * self.unit
        return float(east), float(north)


@dataclass(frozen=True)
class _Strip:
    """Counts in sections along a line and at whole-metre offsets to its left: (sections, offsets)."""

    clear: NDArray[np.float64]
    pulses: NDArray[np.float64]
    offset_m: NDArray[np.float64]

    def share(self, low_m: NDArray[np.float64] | float, high_m: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Clear share of each section between two offsets; NaN without pulses."""
        low, high = np.broadcast_to(low_m, len(self.clear))[:, None], np.broadcast_to(high_m, len(self.clear))[:, None]
        within = (self.offset_m >= low) & (self.offset_m <= high)
        pulses = (self.pulses * within).sum(axis=1)
        return np.where(pulses > 0, (self.clear * within).sum(axis=1) / np.maximum(pulses, 1e-9), np.nan)


def _cut_strip(line: _Line, length_m: float, clear: Heights, pulses: Heights, grid: Grid, section_m: float) -> _Strip:
    """The counts along a line, laid straight."""
    n_sections = int(length_m // section_m)
    offset = np.arange(-STRIP_REACH_M, STRIP_REACH_M + 1.0)
    t = (np.arange(n_sections * int(section_m)) + 0.5)[:, None]
    place = line.start + t[..., None] * line.unit + offset[None, :, None] * line.left
    cell = grid.cell_index(place[..., 0], place[..., 1])
    shape = (n_sections, int(section_m), len(offset))
    sums = [
        np.where(cell >= 0, g.ravel()[cell], 0).reshape(shape).sum(axis=1, dtype=np.float64) for g in (clear, pulses)
    ]
    return _Strip(sums[0], sums[1], offset)


def _scores(strip: _Strip, shift_m: NDArray[np.float64] | float, settings: VegetationSettings) -> NDArray[np.float64]:
    """Contrast of each section with its clearer side, less half the least contrast; 0 in open land."""
    half = RIDE_ACROSS_M * 1.25
    inner, outer = RIDE_SIDE_M - 2, RIDE_SIDE_M + 4
    middle = strip.share(shift_m - half, shift_m + half)
    sides = np.stack([strip.share(shift_m + inner, shift_m + outer), strip.share(shift_m - outer, shift_m - inner)])
    # Three sections together, so that the clearer side is not just the one with the luckier gap.
    filled = np.where(np.isnan(sides), 1.0, sides)
    side = ndimage.uniform_filter1d(filled, 3, axis=1, mode="nearest").max(axis=0)
    score = middle - side - 0.5 * settings.ride_min_contrast
    return np.where(np.isnan(score) | (side > RIDE_OPEN_SIDE_RATIO), 0.0, score)


def _best_run(scores: NDArray[np.float64]) -> tuple[int, int]:
    """First and last section of the run with the greatest sum that jumps no gap too long; (0, -1) without one."""
    section = RIDE_SECTION_M
    scores = scores.copy()
    scores[_long_runs(scores < 0, int(RIDE_GAP_M // section))] = BARRIER
    scores[_long_runs(scores == 0, int(RIDE_OPEN_GAP_M // section))] = BARRIER
    total = np.concatenate(([0.0], np.cumsum(scores)))
    lowest = np.minimum.accumulate(total)
    last = int(np.argmax(total - lowest)) - 1
    if last < 0:
        return 0, -1
    # Of equally low beginnings the latest: a run starts where the ride is seen.
    first = int(np.flatnonzero(total[: last + 1] == lowest[last + 1]).max())
    return first, last


def _without_weak_ends(
    scores: NDArray[np.float64], run: tuple[int, int], settings: VegetationSettings
) -> tuple[int, int]:
    """The run without ends beyond open land that would not be half a ride by themselves.

    Across a field any gap between two crowns on the far side may happen to lie in line.
    """
    first, last = run
    while first < last:
        parts, n_parts = ndimage.label(ndimage.binary_closing(scores[first : last + 1] != 0, np.ones(3, np.bool_)))
        if n_parts < 2:
            break
        weak = [
            number
            for number in (1, n_parts)
            if _evidence(scores[first : last + 1][parts == number], settings) < RIDE_MIN_END_EVIDENCE
        ]
        if not weak:
            break
        inner = np.flatnonzero((parts != weak[0]) & (parts > 0))
        first, last = first + int(inner.min()), first + int(inner.max())
    return first, last


def _long_runs(flags: Mask, longest: int) -> Mask:
    """Cells of the runs of True that are longer than `longest`."""
    parts, _ = ndimage.label(flags)
    size = np.bincount(parts)
    size[0] = 0
    long: Mask = size[parts] > longest
    return long


def _part(strip: _Strip, run: tuple[int, int]) -> _Strip:
    """The sections of a run."""
    here = slice(run[0], run[1] + 1)
    return _Strip(strip.clear[here], strip.pulses[here], strip.offset_m)


def _straighten(line: _Line, strip: _Strip, run: tuple[int, int], settings: VegetationSettings) -> _Line:
    """The line moved and turned to where the run of sections is clearest in the middle."""
    part = _part(strip, run)
    section = RIDE_SECTION_M
    middle_t = (run[0] + run[1] + 1) / 2 * section
    half_length = len(part.clear) / 2 * section
    from_middle = np.asarray((np.arange(len(part.clear)) + 0.5) * section / half_length - 1, np.float64)
    # From the middle outwards: of equally good places the nearest is taken.
    steps = (0.0, -1.0, 1.0, -2.0, 2.0, -3.0, 3.0)
    move = turn = 0.0
    for _ in range(2):
        move = _best_step([(step, step + turn * from_middle) for step in steps], part, settings)
        turn = _best_step([(step, move + step * from_middle) for step in steps], part, settings)
    unit = line.unit + turn / half_length * line.left
    unit /= np.hypot(*unit)
    middle = line.start + middle_t * line.unit + move * line.left
    return _Line(middle - middle_t * unit, unit)


def _best_step(choices: list[tuple[float, NDArray[np.float64]]], part: _Strip, settings: VegetationSettings) -> float:
    """The step whose shift of the line gives the greatest score."""
    totals = [float(_scores(part, shift, settings).sum()) for _, shift in choices]
    return choices[int(np.argmax(np.round(totals, 9)))][0]


def _follow(
    middle: NDArray[np.float64],
    angle: float,
    clear: Heights,
    pulses: Heights,
    grid: Grid,
    settings: VegetationSettings,
) -> Ride | None:
    """The ride through a place in a direction, or None where there is none.

    A first look covers two shortest rides around the place; what has not half the evidence there is let go.
    """
    section = RIDE_SECTION_M
    west, south, east, north = grid.bounds
    near = section * np.ceil(2 * RIDE_MIN_LENGTH_M / section)
    far = section * np.ceil(np.hypot(east - west, north - south) / section)
    unit = np.array([np.cos(angle), np.sin(angle)])
    line = _Line(middle - near * unit, unit)
    for reach, least in ((near, 0.5), (far, 0.7), (far, 1.0)):
        line = _Line(line.start + (float((middle - line.start) @ line.unit) - reach) * line.unit, line.unit)
        strip = _cut_strip(line, 2 * reach, clear, pulses, grid, section)
        scores = _scores(strip, 0.0, settings)
        run = _best_run(scores)
        run = _without_weak_ends(scores, run, settings)
        if _evidence(scores[run[0] : run[1] + 1], settings) < least * RIDE_MIN_EVIDENCE:
            return None
        straight = _straighten(line, strip, run, settings)
        if least < 1:
            line = straight
    return _measure(line, strip, run, settings)


def _contrast(scores: NDArray[np.float64], settings: VegetationSettings) -> NDArray[np.float64]:
    """Contrast of those of these sections that lie in forest."""
    contrast: NDArray[np.float64] = scores[scores != 0] + 0.5 * settings.ride_min_contrast
    return contrast


def _evidence(scores: NDArray[np.float64], settings: VegetationSettings) -> float:
    """Mean contrast times the root of the number of sections: how little chance explains a run."""
    contrast = _contrast(scores, settings)
    return float(contrast.mean() * np.sqrt(len(contrast))) if len(contrast) else 0.0


def _measure(line: _Line, strip: _Strip, run: tuple[int, int], settings: VegetationSettings) -> Ride | None:
    """The ride along a line, if it is long, clear, steady and narrow enough."""
    section = RIDE_SECTION_M
    part = _part(strip, run)
    scores = _scores(strip, 0.0, settings)[run[0] : run[1] + 1]
    contrast = _contrast(scores, settings)
    half = RIDE_ACROSS_M * 1.25
    within = float(np.nanmean(part.share(-half, half)[scores != 0]))
    width_m = _width(part, within, within - float(contrast.mean()))
    is_long = len(contrast) * section >= RIDE_MIN_LENGTH_M
    is_steady = (contrast > 0.5 * settings.ride_min_contrast).mean() >= RIDE_MIN_STEADY_RATIO
    is_clear = contrast.mean() >= settings.ride_min_contrast
    if not (is_long and is_steady and is_clear and width_m <= RIDE_MAX_WIDTH_M):
        return None
    return Ride(
        start=line.at(run[0] * section),
        end=line.at((run[1] + 1) * section),
        clear_ratio=within,
        side_ratio=within - float(contrast.mean()),
        seen_m=len(contrast) * section,
        gap_m=(run[1] + 1 - run[0] - len(contrast)) * section,
        width_m=width_m,
        evidence=_evidence(scores, settings),
    )


def _width(part: _Strip, within: float, side: float) -> float:
    """Width between the places where half the contrast is left, metres."""
    pulses = part.pulses.sum(axis=0)
    share = np.where(pulses > 0, part.clear.sum(axis=0) / np.maximum(pulses, 1e-9), 0)
    pieces, _ = ndimage.label(share > (within + side) / 2)
    middle = pieces[len(pieces) // 2]
    return float((pieces == middle).sum()) if middle else 1.0
