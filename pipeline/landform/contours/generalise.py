"""The surface that contours are traced on: bare earth without what is too small to draw."""

from __future__ import annotations

import math

import numpy as np
from scipy import ndimage

from pipeline.landform.contours.isolines import contour_levels
from pipeline.landform.contours.necks import widen_necks
from pipeline.landform.contours.put_back import put_back
from pipeline.landform.contours.rings import CONTOUR_LINE_MM, MIN_CONTOUR_GAP_MM
from pipeline.lattice.fill import fill_voids
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import coarsen
from pipeline.norm.paper import ground_m, sheet_ground_m
from pipeline.settings import LandformSettings
from pipeline.terrain.relief import gradient

CONTOUR_CELL_M = 1.0
"""Cell the contours are traced on. The smallest bend is 4 m on the ground; finer cells show noise."""
CORNER_SMOOTHING_M = 2.0
"""Smoothing that turns creases into bends as round as a pen draws them."""
CALM_STEEP_DEG = 25.0
"""Slope from which contours are hardly calmed: half a metre moves them by less than 1 m there."""
CALM_STEEP_SHARE = 0.2
"""Share of that leave contours keep on such steep ground: a tenth of a metre is the noise of the survey."""
CALM_SMOOTHING_M = 4.0
"""Smoothing of one calming pass, one smallest bend."""
CALM_PASSES = 8
"""Calming passes; eight of 4 m reach shapes 30 m across."""
MAX_SHIFT_SHARE = 0.15
"""Share of the interval a contour may move to keep off its neighbours; with calm_share ISOM's 25 %."""
NECK_SHIFT_SHARE = 0.25
"""Share of the interval the surface may be off where contours of one level nearly touch (ISOM 101)."""
NECK_PASSES = 8
"""Rounds of parting contours that nearly touch."""


def smooth(heights: Heights, grid: Grid, /, *, smoothing_m: float) -> Heights:
    """Heights without noise: a Gaussian of this standard deviation, and what it took away smoothed and put back.

    Smoothing once fills valleys and lowers ridges; twice leaves shapes of constant curvature as they are (Tukey 1977,
    twicing). NaN stays NaN.
    """
    if smoothing_m <= 0:
        return heights
    filled, unknown = fill_voids(heights)
    smoothed = _smooth(filled, grid, smoothing_m)
    smoothed += _smooth(filled - smoothed, grid, smoothing_m)
    return np.where(unknown, np.float32(np.nan), smoothed)


def round_off(heights: Heights, grid: Grid, /, *, smoothing_m: float) -> Heights:
    """Heights under one Gaussian: creases become bends as round as a pen draws them. NaN stays NaN."""
    filled, unknown = fill_voids(heights)
    return np.where(unknown, np.float32(np.nan), _smooth(filled, grid, smoothing_m))


def _smooth(filled: Heights, grid: Grid, smoothing_m: float) -> Heights:
    return np.asarray(ndimage.gaussian_filter(filled, smoothing_m / grid.cell_m, mode="nearest"))


def tauten(
    heights: Heights,
    grid: Grid,
    /,
    *,
    within_m: float,
    steep_deg: float,
    steep_share: float,
    smoothing_m: float,
    passes: int,
) -> Heights:
    """The calmest surface that stays close to the ground: within `within_m` where it is level, closer where steep.

    Smoothed again and again, and held to the band after each pass. A re-entrant or spur deeper than the band keeps its
    place and its shape; undulations shallower than it, which lead a contour astray on flat ground, vanish. The band
    narrows to `steep_share` at `steep_deg`, where such undulations move a contour by less than its own width.
    """
    filled, unknown = fill_voids(heights)
    east, north = gradient(_smooth(filled, grid, smoothing_m), grid)
    steepness = np.hypot(east, north) / np.float32(math.tan(math.radians(steep_deg)))
    band = np.float32(within_m) * np.clip(1 - steepness, steep_share, 1)
    calm = filled
    for _ in range(passes):
        calm = np.clip(_smooth(calm, grid, smoothing_m), filled - band, filled + band)
    return np.where(unknown, np.float32(np.nan), calm)


def limit_steepness(heights: Heights, grid: Grid, /, *, max_rise: float, max_shift_m: float) -> Heights:
    """Heights nowhere steeper than `max_rise`, so that contours keep their distance on cliffs.

    The mean of the highest surface below and the lowest surface above that are nowhere steeper: what is gentle enough
    stays untouched, a step is spread evenly to both sides. No height moves by more than `max_shift_m`; ground that
    would need more is steeper than lines can show.

    Parameters
    ----------
    heights : (rows, cols) float32, metres
    max_rise : float
        Rise over run, 1 is 45 degrees.
    """
    filled, unknown = fill_voids(heights)
    below, above = _gentle_below(filled, grid, max_rise=max_rise), -_gentle_below(-filled, grid, max_rise=max_rise)
    limited = np.clip((below + above) / 2, filled - max_shift_m, filled + max_shift_m)
    return np.where(unknown, np.float32(np.nan), limited).astype(np.float32)


def _gentle_below(heights: Heights, grid: Grid, /, *, max_rise: float) -> Heights:
    """The highest surface not above `heights` and nowhere steeper than `max_rise`.

    Every cell is held down by its neighbours in sixteen directions, over and over until nothing changes; measured that
    way a distance is at most 3 % too long (Borgefors 1986, chamfer distances).
    """
    steps = [(1, 0), (0, 1), (1, 1), (1, -1), (1, 2), (2, 1), (1, -2), (2, -1)]
    gentle = heights.copy()
    while True:
        before = gentle.copy()
        for south, east in steps:
            rise = np.float32(max_rise * grid.cell_m * math.hypot(south, east))
            upper, lower = _shifted_views(gentle, south=south, east=east)
            np.minimum(lower, upper + rise, out=lower)
            np.minimum(upper, lower + rise, out=upper)
        if np.array_equal(before, gentle):
            return gentle


def _shifted_views(heights: Heights, /, *, south: int, east: int) -> tuple[Heights, Heights]:
    """Two views of the same array, the second `south` rows and `east` columns from the first."""
    rows, cols = heights.shape
    left, right = max(0, -east), cols - max(0, east)
    return heights[: rows - south, left:right], heights[south:, left + east : right + east]


def generalised_surface(
    bare_earth: Heights, grid: Grid, /, *, interval_m: float, scale: int, settings: LandformSettings
) -> tuple[Heights, Grid]:
    """The surface to trace contours on, and its grid.

    Returns
    -------
    (rows, cols) float32 in metres, NaN where the bare earth is unknown, and the grid of its cells.
    """
    heights, coarse = coarsen(bare_earth, grid, cell_m=CONTOUR_CELL_M)
    ground = smooth(heights, coarse, smoothing_m=settings.contour_smoothing_m)
    heights = tauten(
        ground,
        coarse,
        within_m=settings.calm_share * interval_m,
        steep_deg=CALM_STEEP_DEG,
        steep_share=CALM_STEEP_SHARE,
        smoothing_m=CALM_SMOOTHING_M,
        passes=CALM_PASSES,
    )
    heights = round_off(heights, coarse, smoothing_m=CORNER_SMOOTHING_M)
    heights = put_back(ground, heights, coarse, interval_m=interval_m, settings=settings)
    apart_m = ground_m(MIN_CONTOUR_GAP_MM + CONTOUR_LINE_MM)
    heights = limit_steepness(heights, coarse, max_rise=interval_m / apart_m, max_shift_m=MAX_SHIFT_SHARE * interval_m)
    return widen_necks(
        heights,
        ground,
        coarse,
        contour_levels(heights, interval_m=interval_m, base_level_m=settings.base_level_m),
        # Lines drawn in steps of one vertex cut corners; an eighth of a step makes up for it.
        apart_m=apart_m + sheet_ground_m(settings.vertex_spacing_mm / 8, scale=scale),
        max_off_m=NECK_SHIFT_SHARE * interval_m,
        passes=NECK_PASSES,
    ), coarse
