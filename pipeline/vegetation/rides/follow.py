"""A ride is followed along a straight line: how far it goes, where exactly, how clear and how wide it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Mask
from pipeline.norm.symbols import isom
from pipeline.vegetation.rides.counts import Counts
from pipeline.vegetation.rides.strip import HALF_WIDTH_M, SECTION_M, Line, Strip, cut_strip, section_scores

MIN_LENGTH_M = isom("508").smallest.length_m
"""Shortest ride on the ground: two dashes of 508."""
MAX_WIDTH_M = 12.0
"""Wider openings are open land, which is at least 15 m wide (403): what lies between may be either (our choice)."""
MIN_EVIDENCE = 1.3
"""A ride's mean contrast times the root of the number of its sections is at least this; rows of gaps between crowns
reached 1.05 in some hectares of forest on which this was fitted."""
MIN_END_EVIDENCE = 0.75
"""Least evidence for each part of a ride beyond open land by itself: a single gap may be in line by chance (our
choice)."""
MIN_STEADY_RATIO = 0.7
"""Share of a ride's sections that must be clearer than their sides; rows of gaps between crowns are patchy (our
choice)."""
GAP_M = 40.0
"""Longest gap in forest over which a ride is joined: crowns that close above it (our choice)."""
OPEN_GAP_M = 120.0
"""Longest gap in open land over which a ride is joined, where it goes on in line on the other side (our choice)."""
BARRIER = -1e6
"""Score of sections that no run may pass: below any sum of the others."""


@dataclass(frozen=True)
class Ride:
    """A straight opening.

    Attributes
    ----------
    start, end : east, north in metres
    clear_ratio : share of the pulses within it that come through untouched
    side_ratio : share of the pulses on its clearer side that come through untouched, mean over its length
    seen_m : length of it that runs through forest
    gap_m : length of it that runs through open land, where nothing shows it
    width_m : between the places where half its contrast is left
    evidence : mean contrast times the root of the number of its sections in forest
    """

    start: tuple[float, float]
    end: tuple[float, float]
    clear_ratio: float
    side_ratio: float
    seen_m: float
    gap_m: float
    width_m: float
    evidence: float


FIRST_FAR_M = 512.0
"""How far to either side of a place a ride is followed at first; where it may go on it is followed twice as far (our
choice)."""


def follow(middle: NDArray[np.float64], angle: float, counts: Counts, /, *, min_contrast: float) -> Ride | None:
    """The ride through a place in a direction, or None where there is none.

    A first look covers two shortest rides to either side of the place; what has not half the evidence there is let go.

    Parameters
    ----------
    middle, angle : east, north of the place; direction in radians counter-clockwise from east
    min_contrast : share of the pulses by which the ride lets through more than its clearer side
    """
    west, south, east, north = counts.grid.bounds
    across_m = float(np.hypot(east - west, north - south))
    near_m = float(SECTION_M * np.ceil(2 * MIN_LENGTH_M / SECTION_M))
    unit = np.array([np.cos(angle), np.sin(angle)])
    line = Line(middle - near_m * unit, unit)
    for first_m, last_m, least in ((near_m, near_m, 0.5), (FIRST_FAR_M, across_m, 0.7), (FIRST_FAR_M, across_m, 1.0)):
        line, strip, run = _look(line, middle, counts, first_m, last_m, min_contrast=min_contrast)
        scores = section_scores(strip, 0.0, min_contrast=min_contrast)
        if _evidence(scores[run[0] : run[1] + 1], min_contrast=min_contrast) < least * MIN_EVIDENCE:
            return None
        if least < 1:
            line = _straighten(line, strip, run, min_contrast=min_contrast)
    return _measure(line, strip, run, min_contrast=min_contrast)


def _look(
    line: Line, middle: NDArray[np.float64], counts: Counts, reach_m: float, last_m: float, *, min_contrast: float
) -> tuple[Line, Strip, tuple[int, int]]:
    """The clearest run along a line, followed until it ends or `last_m` is reached.

    Given are the line from the strip's first section on, the strip, and the first and last section of the run.
    """
    while True:
        here = Line(line.start + (float((middle - line.start) @ line.unit) - reach_m) * line.unit, line.unit)
        strip = cut_strip(here, 2 * reach_m, counts)
        scores = section_scores(strip, 0.0, min_contrast=min_contrast)
        run = _without_weak_ends(scores, _best_run(scores), min_contrast=min_contrast)
        # Where all that is left of the strip may be leapt over, the ride may go on beyond it.
        spare_m = SECTION_M * min(run[0], len(scores) - 1 - run[1])
        if reach_m >= last_m or run[1] < 0 or spare_m > 2 * OPEN_GAP_M:
            return here, strip, run
        reach_m *= 2


def _best_run(scores: NDArray[np.float64]) -> tuple[int, int]:
    """First and last section of the run with the greatest sum that jumps no gap too long; (0, -1) without one."""
    scores = scores.copy()
    scores[_long_runs(scores < 0, int(GAP_M // SECTION_M))] = BARRIER
    scores[_long_runs(scores == 0, int(OPEN_GAP_M // SECTION_M))] = BARRIER
    total = np.concatenate(([0.0], np.cumsum(scores)))
    lowest = np.minimum.accumulate(total)
    last = int(np.argmax(total - lowest)) - 1
    if last < 0:
        return 0, -1
    # Of equally low beginnings the latest: a run starts where the ride is seen.
    first = int(np.flatnonzero(total[: last + 1] == lowest[last + 1]).max())
    return first, last


def _without_weak_ends(scores: NDArray[np.float64], run: tuple[int, int], *, min_contrast: float) -> tuple[int, int]:
    """The run without ends beyond open land that have less than MIN_END_EVIDENCE by themselves.

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
            if _evidence(scores[first : last + 1][parts == number], min_contrast=min_contrast) < MIN_END_EVIDENCE
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


def _part(strip: Strip, run: tuple[int, int]) -> Strip:
    """The sections of a run."""
    here = slice(run[0], run[1] + 1)
    return Strip(strip.clear[here], strip.pulses[here], strip.offset_m)


def _straighten(line: Line, strip: Strip, run: tuple[int, int], *, min_contrast: float) -> Line:
    """The line moved and turned to where the run of sections is clearest in the middle."""
    part = _part(strip, run)
    middle_t = (run[0] + run[1] + 1) / 2 * SECTION_M
    half_length = len(part.clear) / 2 * SECTION_M
    from_middle = np.asarray((np.arange(len(part.clear)) + 0.5) * SECTION_M / half_length - 1, np.float64)
    # From the middle outwards: of equally good places the nearest is taken.
    steps = (0.0, -1.0, 1.0, -2.0, 2.0, -3.0, 3.0)
    move = turn = 0.0
    for _ in range(2):
        move = _best_step([(step, step + turn * from_middle) for step in steps], part, min_contrast=min_contrast)
        turn = _best_step([(step, move + step * from_middle) for step in steps], part, min_contrast=min_contrast)
    unit = line.unit + turn / half_length * line.left
    unit /= np.hypot(*unit)
    middle = line.start + middle_t * line.unit + move * line.left
    return Line(middle - middle_t * unit, unit)


def _best_step(choices: list[tuple[float, NDArray[np.float64]]], part: Strip, *, min_contrast: float) -> float:
    """The step whose shift of the line gives the greatest score."""
    scores = section_scores(part, np.array([shift for _, shift in choices]), min_contrast=min_contrast)
    totals = [float(of_shift.sum()) for of_shift in scores]
    return choices[int(np.argmax(np.round(totals, 9)))][0]


def _contrast(scores: NDArray[np.float64], *, min_contrast: float) -> NDArray[np.float64]:
    """Contrast of those of these sections that lie in forest."""
    contrast: NDArray[np.float64] = scores[scores != 0] + 0.5 * min_contrast
    return contrast


def _evidence(scores: NDArray[np.float64], *, min_contrast: float) -> float:
    """Mean contrast times the root of the number of sections: how little chance explains a run."""
    contrast = _contrast(scores, min_contrast=min_contrast)
    return float(contrast.mean() * np.sqrt(len(contrast))) if len(contrast) else 0.0


def _measure(line: Line, strip: Strip, run: tuple[int, int], *, min_contrast: float) -> Ride | None:
    """The ride along a line, if it is long, clear, steady and narrow enough."""
    part = _part(strip, run)
    scores = section_scores(strip, 0.0, min_contrast=min_contrast)[run[0] : run[1] + 1]
    contrast = _contrast(scores, min_contrast=min_contrast)
    within = float(np.nanmean(part.share(-HALF_WIDTH_M, HALF_WIDTH_M)[scores != 0]))
    width_m = _width(part, within, within - float(contrast.mean()))
    is_long = len(contrast) * SECTION_M >= MIN_LENGTH_M
    is_steady = (contrast > 0.5 * min_contrast).mean() >= MIN_STEADY_RATIO
    is_clear = contrast.mean() >= min_contrast
    if not (is_long and is_steady and is_clear and width_m <= MAX_WIDTH_M):
        return None
    return Ride(
        start=line.at(run[0] * SECTION_M),
        end=line.at((run[1] + 1) * SECTION_M),
        clear_ratio=within,
        side_ratio=within - float(contrast.mean()),
        seen_m=len(contrast) * SECTION_M,
        gap_m=(run[1] + 1 - run[0] - len(contrast)) * SECTION_M,
        width_m=width_m,
        evidence=_evidence(scores, min_contrast=min_contrast),
    )


def _width(part: Strip, within: float, side: float) -> float:
    """Width between the places where half the contrast is left, metres."""
    pulses = part.pulses.sum(axis=0)
    share = np.where(pulses > 0, part.clear.sum(axis=0) / np.maximum(pulses, 1e-9), 0)
    pieces, _ = ndimage.label(share > (within + side) / 2)
    middle = pieces[len(pieces) // 2]
    return float((pieces == middle).sum()) if middle else 1.0
