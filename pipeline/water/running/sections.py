"""Cross-sections of a channel: how the ground rises from its bed to both sides, and what pulses found there."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import LineString

from pipeline.lattice.grid import EastNorth, Grid
from pipeline.lattice.sampling import sample
from pipeline.water.running.along import Counts, batches, filtered_along, starts_of
from pipeline.water.running.incision import SMOOTH_M, smoothed
from pipeline.water.sight.ground import Read

Numbers = NDArray[np.float64]

APART_M = 2.0
"""Distance between cross-sections, in metres: some ten of them lie within the length over which they are judged
together. Our choice."""
STEP_M = 0.5
"""Distance between the places of a cross-section, in metres: the usual side of a cell."""
REACH_M = 20.0
"""How far a cross-section reaches to either side, in metres: over the banks of a lane and on to the field beside it.
Our choice."""
BLUR_M = 0.5
"""Standard deviation, in metres, of the gaussian window with which the bare earth is smoothed for cross-sections: less
than for finding channels, as that would close a ditch. Our choice."""
BED_REACH_M = 1.5
"""How far, in metres, the lowest ground may lie beside the line: half a cell of the lattice that water is led over, and
a vertex that was dropped. Our choice."""
BED_SIDE_M = 2.0
"""Distance from the line, in metres, at which the sides of a bed are looked at: beyond the width of a small stream or a
ditch, and not yet on the slope of its valley. Our choice."""
MOST_SECTIONS = 20_000
"""Cross-sections that are looked at together, for the sake of memory: some 4 kB each. Our choice."""
READ_CELLS = 256
"""Side, in cells of the area's own grid, of the squares in which the ground around cross-sections is read. Larger ones
read much ground far from any channel, smaller ones read more margin. Our choice."""
OFFSETS_M = np.arange(-REACH_M, REACH_M + STEP_M / 2, STEP_M)
"""Places of a cross-section: metres to the left (negative) and to the right of the line."""
MIDDLE = len(OFFSETS_M) // 2
"""Where the line itself stands in `OFFSETS_M`."""


@dataclass(frozen=True)
class Sections:
    """Cross-sections of some channels, one channel after the other, in the order of their lines.

    Attributes
    ----------
    lengths : (channels,) how many cross-sections each channel has
    along_m : (n,) metres from the beginning of the line
    rise_m : (n, len(OFFSETS_M)) metres above the bed; NaN where unknown
    bed : (n,) where in `OFFSETS_M` the bed lies, the lowest place near the line
    aimed : (n, len(OFFSETS_M)) pulses aimed at the cell of each place that met anything
    """

    lengths: Counts
    along_m: Numbers
    rise_m: Numbers
    bed: NDArray[np.intp]
    aimed: Numbers


def n_sections(lines: Sequence[LineString], /) -> Counts:
    """(n,) how many cross-sections each line has."""
    return np.maximum(np.ceil(shapely.length(list(lines)) / APART_M), 1).astype(np.int64)


def in_batches(lines: Sequence[LineString], grid: Grid, /) -> Iterator[Counts]:
    """Numbers of lines that lie near each other, so many at a time that their cross-sections fit into memory."""
    row, col = grid.row_col(*shapely.bounds(list(lines)).reshape(-1, 4)[:, :2].T)
    yield from batches(n_sections(lines), np.lexsort((col // READ_CELLS, row // READ_CELLS)), most=MOST_SECTIONS)


def cross_sections(lines: Sequence[LineString], bare_earth: Read, aimed_pulses: Read, grid: Grid, /) -> Sections:
    """The cross-sections of lines of some length, `APART_M` from each other, square to them."""
    lengths = n_sections(lines)
    along_m = (np.arange(lengths.sum()) - np.repeat(starts_of(lengths), lengths)) * APART_M
    middle = shapely.get_coordinates(shapely.line_interpolate_point(np.repeat(list(lines), lengths), along_m))
    right = _to_the_right(middle, lengths)
    heights, aimed = np.full((2, len(middle), len(OFFSETS_M)), np.nan)
    square = np.column_stack(grid.row_col(middle[:, 0], middle[:, 1])) // READ_CELLS
    _, number = np.unique(square, axis=0, return_inverse=True)
    for here in np.split(np.argsort(number, kind="stable"), np.cumsum(np.bincount(number))[:-1]):
        places = middle[here, None, :] + right[here, None, :] * OFFSETS_M[:, None]
        heights[here], aimed[here] = _read(places, bare_earth, aimed_pulses, grid)
    near = slice(MIDDLE - round(BED_REACH_M / STEP_M), MIDDLE + round(BED_REACH_M / STEP_M) + 1)
    bed = np.argmin(np.where(np.isfinite(heights[:, near]), heights[:, near], np.inf), axis=1) + near.start
    heights -= heights[np.arange(len(bed)), bed][:, None]
    return Sections(lengths, along_m, heights, bed, aimed)


def _to_the_right(middle: EastNorth, lengths: Counts) -> EastNorth:
    """(n, 2) vectors of length 1 to the right of the channels at the middles of their cross-sections."""
    first, last = starts_of(lengths), np.cumsum(lengths) - 1
    before, after = np.arange(len(middle)) - 1, np.arange(len(middle)) + 1
    before[first] += 1
    after[last] -= 1
    ahead = (middle[after] - middle[before]) / np.maximum(after - before, 1)[:, None]
    ahead = filtered_along(
        ahead, lengths, _TURN_REACH, lambda turns: ndimage.gaussian_filter1d(turns, _TURN_SIGMA, axis=0, mode="nearest")
    )
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    return np.column_stack((ahead[:, 1], -ahead[:, 0]))


_TURN_SIGMA, _TURN_REACH = 3, 12
"""Standard deviation, in cross-sections, of the gaussian window over which the direction of a channel is taken, and
where it is cut off: single vertices turn it by 45 degrees. Our choice."""


def _read(places: NDArray[np.float64], bare_earth: Read, aimed_pulses: Read, grid: Grid) -> tuple[Numbers, Numbers]:
    """Smoothed height, and pulses aimed at the cell, of (n, m, 2) places; NaN outside the grid."""
    flat: EastNorth = places.reshape(-1, 2)
    margin = math.ceil(4 * BLUR_M / grid.cell_m)
    window = grid.window_around((*flat.min(axis=0), *flat.max(axis=0)), margin_cells=margin)
    part = grid.part(window)
    heights = smoothed(bare_earth(window), BLUR_M / grid.cell_m).astype(np.float32)
    shape = places.shape[:2]
    return sample(heights, part, flat).reshape(shape), sample(aimed_pulses(window), part, flat).reshape(shape)


def bed_depth_m(sections: Sections, /) -> Numbers:
    """(n,) metres that a bed is cut into its valley; 0 or less where there is none, NaN beside the edge.

    By so much the lower side stands, `BED_SIDE_M` from the bed, above where it would if it rose evenly to twice as far.
    """
    return _lower_bank_m(sections, BED_SIDE_M) - _lower_bank_m(sections, 2 * BED_SIDE_M) / 2


def _lower_bank_m(sections: Sections, aside_m: float) -> Numbers:
    """(n,) metres that the lower of both sides rises above the bed, so far aside of it; NaN beside the edge."""
    n, each = round(aside_m / STEP_M), np.arange(len(sections.bed))
    lower: Numbers = np.minimum(*(sections.rise_m[each, sections.bed + side] for side in (-n, n)))
    return lower


def over_smooth_m(values: Numbers, sections: Sections, /, *, percent: float = 50) -> Numbers:
    """(n,) percentile of the values of the cross-sections within `incision.SMOOTH_M`; unknown ones count as 0."""
    return filtered_along(
        np.nan_to_num(values),
        sections.lengths,
        _SMOOTH // 2,
        lambda along: ndimage.percentile_filter(along, percent, _SMOOTH, mode="nearest"),
    )


def mean_over_smooth_m(values: Numbers, sections: Sections, /) -> Numbers:
    """(n, ...) mean of the values of the cross-sections within `incision.SMOOTH_M`; unknown ones count as 0."""
    # No running sum: what it gives for one section depends, in the last bit, on all before it.
    weights = np.full(_SMOOTH, 1 / _SMOOTH)
    return filtered_along(
        np.nan_to_num(values),
        sections.lengths,
        _SMOOTH // 2,
        lambda along: ndimage.correlate1d(along, weights, axis=0, mode="nearest"),
    )


_SMOOTH = 2 * round(SMOOTH_M / APART_M / 2) + 1
"""Cross-sections within `incision.SMOOTH_M`."""
