"""Pulses along one straight line, in sections, and how much clearer its middle is than both its sides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

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
    """Counts in sections along a line and at whole-metre offsets to its left: (sections, offsets)."""

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
    for span in range(len(spans_m)):
        for shift in range(len(shift_m)):
            for section in range(len(clear)):
                low, high = shift_m[shift, section] + spans_m[span, 0], shift_m[shift, section] + spans_m[span, 1]
                through, all_pulses = 0.0, 0.0
                for place in range(len(offset_m)):
                    if low <= offset_m[place] <= high:
                        through += clear[section, place]
                        all_pulses += pulses[section, place]
                if all_pulses > 0:
                    share[span, shift, section] = through / all_pulses
    return share


def cut_strip(line: Line, length_m: float, counts: Counts) -> Strip:
    """The counts along a line, laid straight."""
    n_sections = int(length_m // SECTION_M)
    offset = np.arange(-REACH_M, REACH_M + 1.0)
    t = (np.arange(n_sections * int(SECTION_M)) + 0.5)[:, None]
    place = line.start + t[..., None] * line.unit + offset[None, :, None] * line.left
    shape = (n_sections, int(SECTION_M), len(offset))
    found = counts.at(("clear", "pulses"), place.reshape(-1, 2))
    clear, pulses = (values.reshape(shape).sum(axis=1) for values in found)
    return Strip(clear, pulses, offset)


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
    shares = _shares(strip.clear, strip.pulses, strip.offset_m, shift.reshape(-1, len(strip.clear)), SPANS_M)
    middle, sides = shares[0], shares[1:]
    # Three sections together, so that the clearer side is not just the one with the luckier gap.
    filled = np.where(np.isnan(sides), 1.0, sides)
    side = ndimage.uniform_filter1d(filled, 3, axis=-1, mode="nearest").max(axis=0)
    score = middle - side - 0.5 * min_contrast
    return np.where(np.isnan(score) | (side > OPEN_SIDE_RATIO), 0.0, score).reshape(shift.shape)
