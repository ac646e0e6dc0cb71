"""Necks: places where a contour nearly touches another of its own level, across a saddle or a narrow valley."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from pipeline.landform.contours.isolines import trace_contours
from pipeline.landform.contours.legibility import close_approaches
from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.grid import EastNorth, Grid, Heights
from pipeline.lattice.sampling import bilinear, row_col_between
from pipeline.lattice.windows import highest_around, lowest_around


def find_necks(
    heights: Heights, grid: Grid, levels: NDArray[np.float64], /, *, apart_m: float
) -> tuple[EastNorth, NDArray[np.bool_]]:
    """Midpoints between contours of one level that come nearer than `apart_m`, and whether the ground there is higher.

    Returns
    -------
    (n, 2) float64, metres, and (n,) bool: True where the ground between stands above the level.
    """
    return necks_between(*trace_contours(heights, grid, levels), heights, grid, apart_m=apart_m)


def necks_between(
    lines: list[EastNorth], elevation_m: NDArray[np.float64], heights: Heights, grid: Grid, /, *, apart_m: float
) -> tuple[EastNorth, NDArray[np.bool_]]:
    """As `find_necks`, of contours that were traced already, given the elevation of each."""
    long_enough = [len(line) > 3 for line in lines]
    elevation_m = elevation_m[long_enough]
    drawn = list(itertools.compress(lines, long_enough))
    first, second, of_line = close_approaches(drawn, apart_m=apart_m, level_m=elevation_m)
    middle = (first + second) / 2
    between = bilinear(np.nan_to_num(heights), *row_col_between(middle, grid))
    return middle, between > elevation_m[of_line[:, 0]]


NECK_PASSES = 8
"""Rounds in which contours that nearly touch are parted; in more rounds each moves the ground by less (our choice)."""


def widen_necks(
    heights: Heights,
    ground: Heights,
    grid: Grid,
    levels: NDArray[np.float64],
    /,
    *,
    apart_m: float,
    max_off_m: float,
) -> Heights:
    """Heights moved a little so that contours of one level keep `apart_m` from each other.

    Ground between two lines that stands above their level is raised, ground below it lowered, in small rounds: a saddle
    is drawn clearly as a saddle, a narrow re-entrant as wide as it must be to be read. A neck that this does not open
    is closed instead. No height moves farther than `max_off_m` from the ground, or than it already is.
    """
    lowest = np.minimum(ground - np.float32(max_off_m) - heights, 0)
    highest = np.maximum(ground + np.float32(max_off_m) - heights, 0)
    shift = np.zeros_like(heights)
    step_m = 2 * max_off_m / NECK_PASSES
    for done in range(NECK_PASSES):
        middle, is_higher = find_necks(heights + shift, grid, levels, apart_m=apart_m)
        if not len(middle):
            break
        # Half the rounds push the lines apart; what they could not part is joined by the other half.
        towards = 1.0 if 2 * done < NECK_PASSES else -3.0
        push = _bumps(middle, np.where(is_higher, towards, -towards), grid, radius_m=apart_m / 2)
        shift = np.clip(shift + step_m * push, lowest, highest).astype(np.float32)
    return heights + shift


def _bumps(places: EastNorth, sign: NDArray[np.float64], grid: Grid, /, *, radius_m: float) -> Heights:
    """Rounded bumps of height 1 at places, of height -1 where the sign is negative; many at one place count once."""
    bumps = np.zeros(grid.shape, np.float32)
    index = grid.cell_index(places[:, 0], places[:, 1])
    np.maximum.at(bumps.ravel(), index[(sign > 0) & (index >= 0)], abs(sign).max())
    np.minimum.at(bumps.ravel(), index[(sign < 0) & (index >= 0)], -abs(sign).max())
    reach = int(np.ceil(radius_m / grid.cell_m))
    wide = highest_around(bumps, reach) + lowest_around(bumps, reach)
    return gaussian(wide, radius_m / grid.cell_m)
