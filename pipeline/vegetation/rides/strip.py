"""Pulses along one straight line, in sections, and how much clearer its middle is than both its sides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.vegetation.rides.counts import Counts

SECTION_M = 8.0
"""Length of the sections a ride is followed in: a crown's width, so that one crown closes one section (our choice)."""
REACH_M = 16.0
"""How far to either side of a line pulses are laid out: the sides of a ride, and room to move it (our choice)."""
HALF_WIDTH_M = 1.5
"""What lies this near to the middle of a ride counts as within it, on either side (our choice)."""
BESIDE_M = (4.0, 10.0)
"""What lies so far from the middle of a ride counts as beside it: past a ride 8 m wide, and not yet other forest (our
choice)."""
SPANS_M = np.array([[-HALF_WIDTH_M, HALF_WIDTH_M], BESIDE_M, [-BESIDE_M[1], -BESIDE_M[0]]])
"""Least and greatest offset from the middle of a ride of what lies within it, to its left and to its right."""
OPEN_SIDE_RATIO = 0.9
"""A side that lets a greater share of pulses through is open land or a glade, not forest: it tells nothing of a ride
(our choice)."""


@dataclass(frozen=True)
class Line:
    """A straight line: the point `start` + t * `unit`, its left at right angles to it."""

    start: NDArray[np.float64]
    unit: NDArray[np.float64]

    @property
    def left(self) -> NDArray[np.float64]:
        """Unit vector to the left."""
        return np.array([-self.unit[1], self.unit[0]])

    def at(self, t_m: float) -> tuple[float, float]:
        """East and north of the point this far along the line."""
        east, north = self.start + t_m * self.unit
        return float(east), float(north)


@dataclass(frozen=True)
class Strip:
    """Counts in sections along a line, and at offsets to its left that are whole metres, one metre apart.

    Attributes
    ----------
    clear, pulses : (sections, offsets)
    offset_m : (offsets,)
    """

    clear: NDArray[np.float64]
    pulses: NDArray[np.float64]
    offset_m: NDArray[np.float64]

    def share(self, low_m: float, high_m: float) -> NDArray[np.float64]:
        """Clear share of each section between two offsets; NaN without pulses."""
        spans = np.array([[low_m, high_m]])
        share = _shares(self.clear, self.pulses, self.offset_m, np.zeros((1, len(self.clear))), spans)[0, 0]
        return np.asarray(share, np.float64)


@compiled
def _shares(
    clear: NDArray[np.float64],
    pulses: NDArray[np.float64],
    offset_m: NDArray[np.float64],
    shift_m: NDArray[np.float64],
    spans_m: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Clear shares between offsets, for several shifts of the line: (spans, shifts, sections), NaN without pulses.

    Parameters
    ----------
    clear, pulses, offset_m : as in `Strip`
    shift_m : (shifts, sections) how far to the left each section is taken to lie
    spans_m : (spans, 2) least and greatest offset
    """
    share = np.full((len(spans_m), len(shift_m), len(clear)), np.nan)
    before = int(-offset_m[0])
    for span in range(len(spans_m)):
        for shift in range(len(shift_m)):
            for section in range(len(clear)):
                low, high = shift_m[shift, section] + spans_m[span, 0], shift_m[shift, section] + spans_m[span, 1]
                through, all_pulses = 0.0, 0.0
                first, last = int(np.ceil(low)) + before, int(np.floor(high)) + before
                for place in range(max(0, first), min(len(offset_m), last + 1)):
                    through += clear[section, place]
                    all_pulses += pulses[section, place]
                if all_pulses > 0:
                    share[span, shift, section] = through / all_pulses
    return share


def cut_strip(line: Line, length_m: float, counts: Counts, *, reach_m: float = REACH_M) -> Strip:
    """The counts along a line, laid straight, as far as so many metres to either side."""
    aside_m = int(reach_m)
    clear, pulses = counts.along(
        line.start, line.unit, int(length_m // SECTION_M), section_m=int(SECTION_M), aside_m=aside_m
    )
    return Strip(clear, pulses, np.arange(-aside_m, aside_m + 1.0))


def section_scores(
    strip: Strip, shift_m: NDArray[np.float64] | float, /, *, min_contrast: float
) -> NDArray[np.float64]:
    """Contrast of each section with its clearer side, less half the least contrast; 0 in open land.

    Parameters
    ----------
    shift_m : how far to the left of the line the ride is taken to run: one number, (sections,) or (shifts, sections)
    min_contrast : least contrast of a ride

    Returns
    -------
    (sections,), or (shifts, sections) where several shifts were asked for
    """
    shift = np.asarray(shift_m, np.float64)
    shift = np.ascontiguousarray(np.broadcast_to(shift, (*shift.shape[:-1], len(strip.clear))))
    scores = shifted_scores(
        strip.clear, strip.pulses, strip.offset_m, shift.reshape(-1, len(strip.clear)), SPANS_M, min_contrast
    )
    return scores.reshape(shift.shape)


@compiled
def shifted_scores(
    clear: NDArray[np.float64],
    pulses: NDArray[np.float64],
    offset_m: NDArray[np.float64],
    shift_m: NDArray[np.float64],
    spans_m: NDArray[np.float64],
    min_contrast: float,
) -> NDArray[np.float64]:
    """As `section_scores`, for compiled loops: (shifts, sections).

    Parameters
    ----------
    clear, pulses, offset_m : as in `Strip`
    shift_m : (shifts, sections)
    spans_m : SPANS_M
    """
    share = _shares(clear, pulses, offset_m, shift_m, spans_m)
    scores = np.zeros(shift_m.shape)
    last = len(clear) - 1
    for shift in range(len(shift_m)):
        for span in range(1, 3):
            for section in range(last + 1):
                if np.isnan(share[span, shift, section]):
                    share[span, shift, section] = 1.0
        left, right = share[1, shift], share[2, shift]
        # Three sections together, so that the clearer side is not just the one with the luckier gap.
        for section in range(last + 1):
            before, after = max(0, section - 1), min(last, section + 1)
            of_left = (left[before] + left[section] + left[after]) / 3
            of_right = (right[before] + right[section] + right[after]) / 3
            side, middle = max(of_left, of_right), share[0, shift, section]
            if not np.isnan(middle) and side <= OPEN_SIDE_RATIO:
                scores[shift, section] = middle - side - 0.5 * min_contrast
    return scores
