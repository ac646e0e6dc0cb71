"""Cross-sections of a channel: how the ground rises from its bed to both sides, and what pulses found there."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import LineString

from pipeline.lattice.grid import EastNorth, Grid
from pipeline.lattice.sampling import sample
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
MOST_SECTIONS = 200
"""Cross-sections of which the ground is read at one time: 400 m of a channel. Our choice."""
OFFSETS_M = np.arange(-REACH_M, REACH_M + STEP_M / 2, STEP_M)
"""Places of a cross-section: metres to the left (negative) and to the right of the line."""
MIDDLE = len(OFFSETS_M) // 2
"""Where the line itself stands in `OFFSETS_M`."""


@dataclass(frozen=True)
class Sections:
    """Cross-sections of one channel, in the order of its line.

    Attributes
    ----------
    along_m : (n,) metres from the beginning of the line
    rise_m : (n, len(OFFSETS_M)) metres above the bed; NaN where unknown
    bed : (n,) where in `OFFSETS_M` the bed lies, the lowest place near the line
    aimed : (n, len(OFFSETS_M)) pulses aimed at the cell of each place that met anything
    """

    along_m: Numbers
    rise_m: Numbers
    bed: NDArray[np.intp]
    aimed: Numbers


def cross_sections(line: LineString, bare_earth: Read, aimed_pulses: Read, grid: Grid, /) -> Sections:
    """The cross-sections of a line, `APART_M` from each other, square to it."""
    along_m = np.arange(0.0, line.length, APART_M)
    middle = shapely.get_coordinates(shapely.line_interpolate_point(line, along_m))
    ahead = ndimage.gaussian_filter1d(np.gradient(middle, axis=0), 3, axis=0, mode="nearest")
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    right = np.column_stack((ahead[:, 1], -ahead[:, 0]))
    places = middle[:, None, :] + right[:, None, :] * OFFSETS_M[:, None]
    parts = np.array_split(places, math.ceil(len(places) / MOST_SECTIONS))
    read = [_read(part, bare_earth, aimed_pulses, grid) for part in parts]
    heights, aimed = (np.concatenate([each[number] for each in read]) for number in (0, 1))
    near = slice(MIDDLE - round(BED_REACH_M / STEP_M), MIDDLE + round(BED_REACH_M / STEP_M) + 1)
    bed = np.argmin(np.where(np.isfinite(heights[:, near]), heights[:, near], np.inf), axis=1) + near.start
    return Sections(along_m, heights - heights[np.arange(len(bed)), bed][:, None], bed, aimed)


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


def over_smooth_m(values: Numbers, /, *, percent: float = 50) -> Numbers:
    """(n,) percentile of the values of the cross-sections within `incision.SMOOTH_M`; unknown ones count as 0."""
    size = 2 * round(SMOOTH_M / APART_M / 2) + 1
    return np.asarray(ndimage.percentile_filter(np.nan_to_num(values), percent, size, mode="nearest"), np.float64)
