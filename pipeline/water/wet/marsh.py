"""Marsh: ground that is flat, gathers water, bears no trees and sends back little light or few pulses."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import Polygon

from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.filters.box import square_mean
from pipeline.lattice.grid import Heights, Mask
from pipeline.lattice.larger_cells import highest_into, sum_into
from pipeline.lattice.reach import wide_enough, within_reach
from pipeline.norm.symbols import isom
from pipeline.outlines.outline import outlines_of
from pipeline.water.running.flow import Flow
from pipeline.water.sight.ground import LEAST_PER_M2, SQUARE_CELLS, Ground, small_window, squares

SLOPE_SIGMA_M = 4.0
"""Standard deviation in metres of the gaussian window with which the ground is smoothed before its slope is taken: over
tussocks and ditches. Our choice."""
AROUND_M = 20.0
"""Side in metres of the window over which wetness is judged: water spreads on flat ground, while it was led along
single cells. Our choice."""
FLAT_MAX_SLOPE = 0.03
"""Slope up to which ground is flat enough for a marsh, metres a metre. Our choice."""
LEAST_SLOPE = 0.01
"""Slope that level ground counts as, metres a metre: with less, every level field is wet, as it drains nowhere. Our
choice."""
LEAST_WETNESS = 10.5
"""Topographic wetness index, ln(m), from which ground is wet by its position: 1.4 ha over a breadth of 20 m, at a slope
of 2 %. Our choice."""
TREE_M = 3.0
"""Height of the canopy in metres from which a cell bears trees. Our choice."""
MOST_TREES = 0.5
"""Share of cells with trees, over `AROUND_M`, up to which ground may be marsh: birches and pines stand on bogs. Our
choice."""
DARK_MAX_RATIO = 0.8
"""Brightness of bare ground over that of the area, up to which it is dark as wet ground is in the near infrared; flight
lines differ by a fifth. Our choice."""
DRY_WETNESS = 8.5
"""Topographic wetness index, ln(m), below which ground counts as dry: a seventh of what drains to a marsh, as the rim
of a marsh that is wet too is left out. Our choice."""
DARKEST_SHARE = 0.1
"""Share of the dry ground that may be as dark as a marsh. Among fields, of which a quarter were
darker than `DARK_MAX_RATIO`, five false marshes were found without it (a real survey of farmland). Our choice."""
PAVED_MAX_RATIO = 0.35
"""Brightness over that of the area, below which flat ground is asphalt or open water: what grows on a marsh sends back
more in the near infrared. A paved yard had 0.21. Our choice."""
THIN_MAX_RATIO = 0.7
"""Pulses that came back over those usual in the area, up to which some of them met water. Our choice."""
LEAST_SHARE = 0.5
"""Share of a marsh that must be dark or thin. Our choice."""
LEAST_WIDTH_M = 10.5
"""Least width of a marsh in metres: 0.7 mm at 1 to 15 000 (ISOM 2017-2, 310)."""
SURE, UNSURE = 0.4, 0.2
"""How likely a marsh is one that is dark or thin all over, and one of which half is. No marsh could be measured: our
choice."""


@dataclass(frozen=True)
class Marsh:
    """A place that may be a marsh.

    Attributes
    ----------
    shape : Polygon in the working CRS
    wetness : float
        Median topographic wetness index, ln(m).
    weak_share : float, 0..1
        Share of it that is dark, or from which few pulses came back.
    likelihood : float, 0..1
    """

    shape: Polygon
    wetness: float
    weak_share: float
    likelihood: float


def wetness_index(heights: NDArray[np.float64], drained_m2: NDArray[np.float64], cell_m: float, /) -> Heights:
    """Topographic wetness index, ln(a / tan b) (Beven & Kirkby 1979, Hydrological Sciences Bulletin 24, 43-69).

    a is the ground that drains through a metre of breadth, in metres, averaged over `AROUND_M`; b is the slope of the
    ground smoothed with `SLOPE_SIGMA_M`.

    Returns
    -------
    (rows, cols) float32, ln(m); NaN where the height is unknown.
    """
    side = max(1, 2 * round((AROUND_M / cell_m - 1) / 2) + 1)
    breadth = square_mean((drained_m2 / cell_m).astype(np.float32), side, rim="nearest")
    tan = np.maximum(smooth_slope(heights, cell_m), LEAST_SLOPE)
    index: Heights = np.where(np.isfinite(heights), np.log(np.maximum(breadth, cell_m) / tan), np.nan)
    return index.astype(np.float32)


def smooth_slope(heights: NDArray[np.float64], cell_m: float, /) -> Heights:
    """Slope of the ground smoothed with `SLOPE_SIGMA_M`, metres a metre; NaN within its reach of unknown ground."""
    smooth = gaussian(heights.astype(np.float32), SLOPE_SIGMA_M / cell_m, rim="nearest")
    down, right = np.gradient(smooth, cell_m)
    slope: Heights = np.hypot(down, right).astype(np.float32)
    return slope


def find_marshes(flow: Flow, ground: Ground, wet_already: Mask, /) -> list[Marsh]:
    """Places that may be marsh, largest first.

    Each sign alone is common on dry land: a road is flat and dark, a hollow gathers water and drains below ground. So
    all are asked for, and what is found is a place to look at.

    Parameters
    ----------
    flow : water led over the ground
    ground : what the survey saw of it; without `canopy` and `lone_shine` nothing is found
    wet_already : (rows, cols) bool of `flow.lattice`, standing water
    """
    if ground.canopy is None or ground.lone_shine is None or ground.lone_returns is None:
        return []
    shape, cell_m = flow.lattice.shape, flow.lattice.cell_m
    heights, drained_m2 = flow.heights.reshape(shape), flow.drained_m2.reshape(shape)
    wetness = wetness_index(heights, drained_m2, cell_m)
    wet = (wetness >= LEAST_WETNESS) & (smooth_slope(heights, cell_m) <= FLAT_MAX_SLOPE) & ~wet_already
    if not wet.any():
        return []
    trees, weak = _seen(flow, ground, wetness < DRY_WETNESS)
    smallest = isom("310").smallest
    place = wide_enough(wet & (trees <= MOST_TREES), width_m=LEAST_WIDTH_M, cell_m=cell_m)
    place = within_reach(place, reach_m=cell_m, cell_m=cell_m) & ~wet_already
    found = []
    labels, _ = ndimage.label(place)
    for number, box in enumerate(ndimage.find_objects(labels), start=1):
        inside = labels[box] == number
        share = float(weak[box][inside].mean())
        if inside.sum() * cell_m**2 < smallest.area_m2 or share < LEAST_SHARE:
            continue
        likelihood = float(np.interp(share, (LEAST_SHARE, 1.0), (UNSURE, SURE)))
        found += [
            Marsh(outline, float(np.nanmedian(wetness[box][inside])), share, likelihood)
            for outline in outlines_of(inside, flow.lattice.part((box[0], box[1])))
            if outline.area >= smallest.area_m2
        ]
    return sorted(found, key=lambda marsh: (-marsh.shape.area, marsh.shape.bounds))


def _seen(flow: Flow, ground: Ground, is_dry: Mask) -> tuple[Heights, Mask]:
    """Share of cells with trees around each cell of the lattice, and which cells are dark or send back few pulses.

    `is_dry` are the cells that the others are compared with.
    """
    lattice, every = flow.lattice, flow.every
    reads = {"shine": ground.lone_shine, "lone": ground.lone_returns, "pulses": ground.aimed_pulses}
    sums = {name: np.zeros(lattice.shape, np.float32) for name in reads}
    canopy = np.zeros(lattice.shape, np.float32)
    for square in squares(lattice, side_cells=max(1, SQUARE_CELLS // every)):
        window = small_window(lattice, ground.grid, every, square)
        part, larger = ground.grid.part(window), lattice.part(square)
        if ground.canopy is not None:
            canopy[square] = np.nan_to_num(highest_into(ground.canopy(window), part, larger, every))
        counts = {name: np.nan_to_num(read(window)) for name, read in reads.items() if read is not None}
        for name, values in sum_into(counts, part, larger, every).items():
            sums[name][square] = values
    side = max(1, 2 * round((AROUND_M / lattice.cell_m - 1) / 2) + 1)
    trees = square_mean((canopy >= TREE_M).astype(np.float32), side, rim="nearest")
    shine, lone, pulses = (square_mean(values, side, rim="nearest") for values in sums.values())
    is_thin = pulses < THIN_MAX_RATIO * _median(pulses[pulses > 0])
    tells = float(sums["pulses"].mean()) / lattice.cell_m**2 >= LEAST_PER_M2
    return trees, _dark(shine, lone, is_dry) | (is_thin & tells)


def _dark(shine: Heights, lone: Heights, is_dry: Mask) -> Mask:
    """Cells around which bare ground is dark for the area and for its dry ground, but not as dark as asphalt."""
    known = lone > 0
    bright = np.divide(shine, lone, out=np.full(lone.shape, np.inf, np.float32), where=known)
    usual = _median(bright[known])
    dry = bright[known & is_dry]
    darkest = float(np.quantile(dry, DARKEST_SHARE)) if len(dry) else math.inf
    dark: Mask = (bright < min(DARK_MAX_RATIO * usual, darkest)) & (bright >= PAVED_MAX_RATIO * usual) & (usual > 0)
    return dark


def _median(values: NDArray[np.float32]) -> float:
    """Median, 0 where there are no values."""
    return float(np.median(values)) if len(values) else 0.0


def standing_on(shapes: list[Polygon], flow: Flow, /) -> Mask:
    """(rows, cols) bool: cells of the lattice whose middle lies in one of the shapes."""
    inside = np.zeros(flow.lattice.shape, np.bool_)
    east, north = flow.lattice.centres()
    for shape in shapes:
        rows, cols = flow.lattice.window_around(shape.bounds, margin_cells=1)
        x, y = np.meshgrid(east[cols], north[rows])
        inside[rows, cols] |= shapely.contains_xy(shape, x, y)
    return inside
