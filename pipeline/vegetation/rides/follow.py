"""A ride is followed along a straight line: how far it goes, where exactly, how clear and how wide it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.compiled import compiled
from pipeline.norm.symbols import isom
from pipeline.vegetation.rides.counts import Counts
from pipeline.vegetation.rides.strip import (
    BESIDE_M,
    HALF_WIDTH_M,
    SECTION_M,
    SPANS_M,
    Line,
    Strip,
    cut_strip,
    section_scores,
    shifted_scores,
)

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
        line, scores, run = _look(line, middle, counts, first_m, last_m, min_contrast=min_contrast)
        if _evidence(scores, run[0], run[1], min_contrast) < least * MIN_EVIDENCE:
            return None
        if least < 1:
            line = _straighten(line, run, counts, min_contrast=min_contrast)
    return _measure(line, scores, run, counts, min_contrast=min_contrast)


def _look(
    line: Line, middle: NDArray[np.float64], counts: Counts, reach_m: float, last_m: float, *, min_contrast: float
) -> tuple[Line, NDArray[np.float64], tuple[int, int]]:
    """The clearest run along a line, followed until it ends or `last_m` is reached.

    Given are the line from the first section on, the scores of its sections, and the first and last section of the run.
    """
    while True:
        here = Line(line.start + (float((middle - line.start) @ line.unit) - reach_m) * line.unit, line.unit)
        strip = cut_strip(here, 2 * reach_m, counts, reach_m=BESIDE_M[1])
        scores = section_scores(strip, 0.0, min_contrast=min_contrast)
        run = _clearest_run(scores, min_contrast)
        # Where all that is left of the strip may be leapt over, the ride may go on beyond it.
        spare_m = SECTION_M * min(run[0], len(scores) - 1 - run[1])
        if reach_m >= last_m or run[1] < 0 or spare_m > 2 * OPEN_GAP_M:
            return here, scores, run
        reach_m *= 2


@compiled
def _clearest_run(scores: NDArray[np.float64], min_contrast: float) -> tuple[int, int]:
    """First and last section of the run with the greatest sum that jumps no gap too long, without weak ends.

    The last is before the first where there is no run.
    """
    first, last = _best_run(scores)
    return _without_weak_ends(scores, first, last, min_contrast)


@compiled
def _best_run(scores: NDArray[np.float64]) -> tuple[int, int]:
    """First and last section of the run with the greatest sum that jumps no gap too long; (0, -1) without one."""
    is_blocked = _in_long_gaps(scores)
    first, last = 0, -1
    total, lowest, lowest_at, most = 0.0, 0.0, 0, 0.0
    for section in range(len(scores)):
        total += BARRIER if is_blocked[section] else scores[section]
        # Of equally low beginnings the latest: a run starts where the ride is seen.
        if total <= lowest:
            lowest, lowest_at = total, section + 1
        if total - lowest > most:
            most, first, last = total - lowest, lowest_at, section
    return first, last


@compiled
def _in_long_gaps(scores: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(sections,) which lie in a gap, in forest or in open land, that is too long for a run to pass."""
    is_long = np.zeros(len(scores), np.bool_)
    start = 0
    for section in range(1, len(scores) + 1):
        if section < len(scores) and np.sign(scores[section]) == np.sign(scores[start]):
            continue
        longest_m = OPEN_GAP_M if scores[start] == 0 else GAP_M
        if scores[start] <= 0 and section - start > longest_m // SECTION_M:
            for k in range(start, section):
                is_long[k] = True
        start = section
    return is_long


@compiled
def _without_weak_ends(scores: NDArray[np.float64], first: int, last: int, min_contrast: float) -> tuple[int, int]:
    """The run without ends beyond open land that have less than MIN_END_EVIDENCE by themselves.

    Across a field any gap between two crowns on the far side may happen to lie in line.
    """
    while first < last:
        starts, stops = _parts(scores[first : last + 1])
        if len(starts) < 2:
            break
        if _evidence(scores, first + starts[0], first + stops[0], min_contrast) < MIN_END_EVIDENCE:
            first, last = first + starts[1], first + stops[-1]
        elif _evidence(scores, first + starts[-1], first + stops[-1], min_contrast) < MIN_END_EVIDENCE:
            first, last = first + starts[0], first + stops[-2]
        else:
            break
    return first, last


@compiled
def _parts(scores: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First and last section of each part between open land, gaps of two sections closed; no part reaches the ends."""
    n = len(scores)
    grown = np.zeros(n + 2, np.bool_)
    for section in range(n):
        for k in range(3):
            grown[section + k] |= scores[section] != 0
    starts, stops = np.empty(n, np.int64), np.empty(n, np.int64)
    count, is_inside = 0, False
    for section in range(1, n):
        is_part = section < n - 1 and grown[section] and grown[section + 1] and grown[section + 2]
        if is_part and not is_inside:
            starts[count] = section
        if is_inside and not is_part:
            stops[count] = section - 1
            count += 1
        is_inside = is_part
    return starts[:count], stops[:count]


def _part(line: Line, run: tuple[int, int], counts: Counts) -> Strip:
    """The counts along the sections of a run."""
    begin = Line(line.start + run[0] * SECTION_M * line.unit, line.unit)
    return cut_strip(begin, (run[1] + 1 - run[0]) * SECTION_M, counts)


STEPS_M = (0.0, -1.0, 1.0, -2.0, 2.0, -3.0, 3.0)
"""How far, in metres, a line is moved and its ends are turned to see where a ride is clearest; from the middle
outwards, as of equally good places the first is taken (our choice)."""


def _straighten(line: Line, run: tuple[int, int], counts: Counts, *, min_contrast: float) -> Line:
    """The line moved and turned to where the run of sections is clearest in the middle."""
    part = _part(line, run, counts)
    middle_t = (run[0] + run[1] + 1) / 2 * SECTION_M
    half_length = len(part.clear) / 2 * SECTION_M
    move, turn = _move_and_turn(part.clear, part.pulses, part.offset_m, SPANS_M, min_contrast)
    unit = line.unit + turn / half_length * line.left
    unit /= np.hypot(*unit)
    middle = line.start + middle_t * line.unit + move * line.left
    return Line(middle - middle_t * unit, unit)


@compiled
def _move_and_turn(
    clear: NDArray[np.float64],
    pulses: NDArray[np.float64],
    offset_m: NDArray[np.float64],
    spans_m: NDArray[np.float64],
    min_contrast: float,
) -> tuple[float, float]:
    """How far to the left the middle and the end of a run of sections are moved for the greatest score, metres.

    Parameters
    ----------
    clear, pulses, offset_m : of the sections of the run, as in `Strip`
    spans_m : SPANS_M
    """
    move = turn = 0.0
    for _ in range(2):
        shift_m = _shifts(len(clear), move, turn, 1.0, 0.0)
        move = STEPS_M[_clearest(shifted_scores(clear, pulses, offset_m, shift_m, spans_m, min_contrast))]
        shift_m = _shifts(len(clear), move, turn, 0.0, 1.0)
        turn = STEPS_M[_clearest(shifted_scores(clear, pulses, offset_m, shift_m, spans_m, min_contrast))]
    return move, turn


@compiled
def _shifts(n_sections: int, move: float, turn: float, of_move: float, of_turn: float) -> NDArray[np.float64]:
    """How far to the left each section lies, (steps, sections): either the move or the turn is each of STEPS_M."""
    shift_m = np.empty((len(STEPS_M), n_sections))
    half_m = n_sections / 2 * SECTION_M
    for k in range(len(STEPS_M)):
        step = STEPS_M[k]
        for section in range(n_sections):
            from_middle = (section + 0.5) * SECTION_M / half_m - 1
            moved, turned = (step if of_move else move), (step if of_turn else turn)
            shift_m[k, section] = moved + turned * from_middle
    return shift_m


@compiled
def _clearest(scores: NDArray[np.float64]) -> int:
    """Number of the first of (shifts, sections) whose sum is greatest."""
    best, most = 0, -np.inf
    for k in range(scores.shape[0]):
        total = 0.0
        for section in range(scores.shape[1]):
            total += scores[k, section]
        # Sums that differ by less come of the order in which numbers were added.
        total = np.rint(total * 1e9)
        if total > most:
            best, most = k, total
    return best


def _contrast(scores: NDArray[np.float64], *, min_contrast: float) -> NDArray[np.float64]:
    """Contrast of those of these sections that lie in forest."""
    contrast: NDArray[np.float64] = scores[scores != 0] + 0.5 * min_contrast
    return contrast


@compiled
def _evidence(scores: NDArray[np.float64], first: int, last: int, min_contrast: float) -> float:
    """Mean contrast of the sections in forest from a first to a last one, times the root of their number.

    It tells how little chance explains a run.
    """
    total, count = 0.0, 0
    for section in range(first, last + 1):
        if scores[section] != 0:
            total += scores[section] + 0.5 * min_contrast
            count += 1
    return float(total / count * np.sqrt(count)) if count else 0.0


def _measure(
    line: Line, scores: NDArray[np.float64], run: tuple[int, int], counts: Counts, *, min_contrast: float
) -> Ride | None:
    """The ride along a line, if it is long, clear, steady and narrow enough."""
    part, scores = _part(line, run, counts), scores[run[0] : run[1] + 1]
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
        evidence=float(contrast.mean() * np.sqrt(len(contrast))),
    )


def _width(part: Strip, within: float, side: float) -> float:
    """Width between the places where half the contrast is left, metres."""
    pulses = part.pulses.sum(axis=0)
    share = np.where(pulses > 0, part.clear.sum(axis=0) / np.maximum(pulses, 1e-9), 0)
    pieces, _ = ndimage.label(share > (within + side) / 2)
    middle = pieces[len(pieces) // 2]
    return float((pieces == middle).sum()) if middle else 1.0
