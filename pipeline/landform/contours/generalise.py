"""The surface that contours are traced on: bare earth without what is too small to draw."""

from __future__ import annotations

import math

import numpy as np

from pipeline.landform.contours.isolines import contour_levels
from pipeline.landform.contours.limits import ALLOWED_SHIFT_SHARE, CONTOURS_APART_M
from pipeline.landform.contours.necks import widen_necks
from pipeline.landform.contours.put_back import put_back
from pipeline.lattice.fill import fill_voids
from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import coarsen
from pipeline.terrain.relief import gradient


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
    return gaussian(filled, smoothing_m / grid.cell_m, rim="nearest")


CALM_STEEP_DEG = 25.0
"""Slope from which the ground is hardly calmed (our choice): half a metre moves a contour by about 1 m there, half the
width of its line."""
CALM_STEEP_SHARE = 0.2
"""Share of the band that is left on such steep ground: of half a metre a tenth, the noise of a good survey (our
choice)."""
CALM_SMOOTHING_M = 4.0
"""Standard deviation of the smoothing of one calming pass, about one smallest bend (our choice)."""
CALM_PASSES = 8
"""Calming passes; eight passes of 4 m reach shapes some 30 m across (our choice)."""


def tauten(heights: Heights, grid: Grid, /, *, within_m: float) -> Heights:
    """The calmest surface that stays close to the ground: within `within_m` where it is level, closer where steep.

    Smoothed again and again, and held to the band after each pass. A re-entrant or spur deeper than the band keeps its
    place and its shape; undulations shallower than it, which lead a contour astray on flat ground, vanish. The band
    narrows on steep ground, where such undulations move a contour by less than its own width.
    """
    filled, unknown = fill_voids(heights)
    east, north = gradient(_smooth(filled, grid, CALM_SMOOTHING_M), grid)
    steepness = np.hypot(east, north) / np.float32(math.tan(math.radians(CALM_STEEP_DEG)))
    band = np.float32(within_m) * np.clip(1 - steepness, CALM_STEEP_SHARE, 1)
    calm = filled
    for _ in range(CALM_PASSES):
        calm = np.clip(_smooth(calm, grid, CALM_SMOOTHING_M), filled - band, filled + band)
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


STEEP_ROUNDS = 8
"""Rounds in which cells hold down their neighbours. A round reaches 9 cells east or north, so that eight do for cliffs
of more than 50 m, and nothing farther off has a say (our choice)."""


def _gentle_below(heights: Heights, grid: Grid, /, *, max_rise: float) -> Heights:
    """The highest surface not above `heights` and nowhere steeper than `max_rise`.

    Every cell is held down by its neighbours in sixteen directions, over and over until nothing changes, `STEEP_ROUNDS`
    times at most; measured that way a distance is at most 3 % too long (Borgefors 1986, chamfer distances).
    """
    steps = [(1, 0), (0, 1), (1, 1), (1, -1), (1, 2), (2, 1), (1, -2), (2, -1)]
    gentle = heights.copy()
    for _ in range(STEEP_ROUNDS):
        before = gentle.copy()
        for south, east in steps:
            rise = np.float32(max_rise * grid.cell_m * math.hypot(south, east))
            upper, lower = _shifted_views(gentle, south=south, east=east)
            np.minimum(lower, upper + rise, out=lower)
            np.minimum(upper, lower + rise, out=upper)
        if np.array_equal(before, gentle):
            break
    return gentle


def _shifted_views(heights: Heights, /, *, south: int, east: int) -> tuple[Heights, Heights]:
    """Two views of the same array, the second `south` rows and `east` columns from the first."""
    rows, cols = heights.shape
    left, right = max(0, -east), cols - max(0, east)
    return heights[: rows - south, left:right], heights[south:, left + east : right + east]


CONTOUR_CELL_M = 1.0
"""Cell the contours are traced on. The smallest bend is nearly 4 m on the ground; finer cells only show noise."""
CORNER_SMOOTHING_M = 2.0
"""Standard deviation of the smoothing that turns the creases of the calmed surface into bends as round as a pen draws
them: about half the smallest bend (our choice)."""


def generalised_surface(
    bare_earth: Heights,
    grid: Grid,
    /,
    *,
    interval_m: float,
    base_level_m: float,
    smoothing_m: float,
    calm_share: float,
    vertex_spacing_m: float,
) -> tuple[Heights, Grid]:
    """The surface to trace contours on, and its grid.

    Parameters
    ----------
    base_level_m : float
        Elevation one contour takes.
    smoothing_m : float
        Standard deviation of the smoothing that takes the noise of the survey away.
    calm_share : float
        Share of the interval the surface may leave the ground by to run calmly. What is left of the share that the
        norm allows goes to keeping contours apart.
    vertex_spacing_m : float
        Least distance on the ground between two vertices of the lines that will be drawn.

    Returns
    -------
    (rows, cols) float32 in metres, NaN where the bare earth is unknown, and the grid of its cells.
    """
    heights, coarse = coarsen(bare_earth, grid, cell_m=CONTOUR_CELL_M)
    ground = smooth(heights, coarse, smoothing_m=smoothing_m)
    heights = tauten(ground, coarse, within_m=calm_share * interval_m)
    heights = round_off(heights, coarse, smoothing_m=CORNER_SMOOTHING_M)
    heights = put_back(ground, heights, coarse, interval_m=interval_m, base_level_m=base_level_m)
    heights = limit_steepness(
        heights,
        coarse,
        max_rise=interval_m / CONTOURS_APART_M,
        max_shift_m=(ALLOWED_SHIFT_SHARE - calm_share) * interval_m,
    )
    return widen_necks(
        heights,
        ground,
        coarse,
        contour_levels(heights, interval_m=interval_m, base_level_m=base_level_m),
        # Lines drawn in steps of one vertex cut corners; an eighth of a step makes up for it.
        apart_m=CONTOURS_APART_M + vertex_spacing_m / 8,
        max_off_m=ALLOWED_SHIFT_SHARE * interval_m,
    ), coarse
