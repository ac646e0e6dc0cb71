"""The shift between two surveys of one place, from their bare earth.

A survey that lies a little to the east shows every slope a little to the east: on slopes that rise eastwards it is
lower, on others higher. So the height difference of two surveys goes with the slope of the ground, and the shift is
what takes that away: Nuth and Kaeaeb (2011, The Cryosphere 5, 271-290), here as least squares on the two components of
the slope, which needs no division by the slope and so can use flat ground too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.larger_cells import coarsen
from pipeline.lattice.sampling import bilinear

Numbers = NDArray[np.float64]

SMOOTH_M = 1.0
"""Sigma of the window through which both surfaces are looked at, in metres: below that, heights are mostly the noise of
single returns. Our choice."""
EDGE_M, STEEP_RATIO = 2.0, 0.2
"""Sigma of the window for canopies, in metres, whose edges are sharp, and the slope from which they tell where they
are. Our choice."""
MOST_CELLS = 4_000_000
"""Larger areas are looked at in larger cells: that many fix a shift to millimetres. Our choice."""
ROUNDS, STILL_M = 25, 0.0005
"""The shift is found in rounds that end when a round moves it by less than this, in metres. Our choice."""
TUKEY = 4.685
"""Residuals beyond so many robust standard deviations have no weight (Tukey's biweight, 95 % efficient; Holland and
Welsch 1977): that is how changed ground drops out."""
BLOCK_M = 20.0
"""Side of the squares of ground whose errors are taken as independent of each other, in metres. Errors of a surface
reach as far as it is interpolated; squares five to ten times as wide leave little between them. Our choice."""
LEAST_ALIKE = 0.6
"""Slopes of two surveys that are less alike than this (a correlation) are mostly noise, and tell no shift: the ground
is too flat. Our choice."""
LEAST_BLOCKS = 12
"""Fewer squares give no standard error worth the name. Our choice."""
LEAST_ERROR_M = 0.01
"""No standard error is given smaller than this, in metres: coordinates of returns are rounded to it, and what a survey
is off by from place to place does not shrink with the number of squares. Our choice."""
TELLS_M = 0.25
"""A horizontal shift with a larger standard error, in metres, is not used: half of the smallest thing that a sheet at
1:7500 shows (0.07 mm). Our choice."""


@dataclass(frozen=True)
class Surface:
    """What one survey shows of the ground and of what stands on it.

    Attributes
    ----------
    grid : Grid
    bare_earth : (rows, cols) metres
    support : (rows, cols) metres to the nearest ground return, or None where nobody knows
    canopy : (rows, cols) metres above the ground, or None
    """

    grid: Grid
    bare_earth: Heights
    support: Heights | None = None
    canopy: Heights | None = None


@dataclass(frozen=True)
class Shift:
    """What has to be added to a place of the old survey to get the same place in the new one.

    Attributes
    ----------
    east_m, north_m, up_m : float
    east_error_m, north_error_m, up_error_m : float
        Standard errors; NaN where the shift could not be found (it is then 0).
    how : str
        What it was found from, in words.
    """

    east_m: float = 0.0
    north_m: float = 0.0
    up_m: float = 0.0
    east_error_m: float = float("nan")
    north_error_m: float = float("nan")
    up_error_m: float = float("nan")
    how: str = ""

    @property
    def is_found(self) -> bool:
        """Whether the horizontal part of it was measured."""
        return bool(np.isfinite(self.east_error_m))

    @property
    def error_m(self) -> float:
        """Standard error of the horizontal part, the larger of the two; 0 where it was not measured."""
        return float(np.nanmax([self.east_error_m, self.north_error_m, 0.0]))


def find_shift(old: Surface, new: Surface, /, *, start: Shift | None = None) -> Shift:
    """The shift from the old to the new survey; (0, 0) across the ground where neither relief nor houses tell it.

    Parameters
    ----------
    start : a shift to begin with, such as that of `pipeline.refresh.register.coarse`; needed where surveys lie further
        apart than hills are wide
    """
    first = start or Shift()
    from_ground = _fit(old, new, first)
    if from_ground is not None and from_ground.error_m <= TELLS_M:
        return replace(from_ground, how="from the relief of the bare earth")
    from_canopy = _fit_canopy(old, new, first)
    if from_canopy is not None and from_canopy.error_m <= TELLS_M:
        return _with_height(
            old, new, replace(from_canopy, how="from houses and edges of forest, as the ground is too flat")
        )
    level = replace(first, east_m=0.0, north_m=0.0) if start is None else first
    words = "not found across the ground: it is too flat, or too little of it is in both surveys; taken as 0"
    return _with_height(old, new, replace(level, how=words if start is None else "from a coarse match alone"))


def moved_onto(
    values: Heights, grid: Grid, target: Grid, shift: Shift, /, *, up_m: float = 0.0, nearest: bool = False
) -> Heights:
    """An old raster as the grid of the new survey shows it: float32 (rows, cols), NaN beyond the old one.

    Parameters
    ----------
    up_m : added to the values
    nearest : whether cells take the value of the nearest old one, as where there are unknown cells all over
    """
    east, north = target.centres()
    row = grid.north_row - 0.5 - (north - shift.north_m) / grid.cell_m
    col = (east - shift.east_m) / grid.cell_m - grid.west_col - 0.5
    if nearest:
        row, col = np.round(row), np.round(col)
    rows, cols = np.meshgrid(row, col, indexing="ij")
    inside = (rows > -0.5) & (rows < grid.rows - 0.5) & (cols > -0.5) & (cols < grid.cols - 0.5)
    found = np.full(target.shape, np.nan, np.float32)
    found[inside] = bilinear(values, rows[inside], cols[inside]) + up_m
    return found


def _fit(old: Surface, new: Surface, first: Shift) -> Shift | None:
    cell_m = max(
        new.grid.cell_m, old.grid.cell_m, new.grid.cell_m * (new.grid.rows * new.grid.cols / MOST_CELLS) ** 0.5
    )
    values, grid = coarsen(_smooth(new.bare_earth, new.grid), new.grid, cell_m=cell_m)
    return _least_squares(_smooth(old.bare_earth, old.grid), old.grid, values, grid, first)


def _fit_canopy(old: Surface, new: Surface, first: Shift) -> Shift | None:
    if old.canopy is None or new.canopy is None:
        return None
    before, after = (
        _smooth(np.minimum(tops, 30), g, EDGE_M) for tops, g in ((old.canopy, old.grid), (new.canopy, new.grid))
    )
    # Where all is level, on roofs and in the open, nothing can be told, and no difference there is no sign of a fit.
    steep = np.hypot(*np.gradient(np.nan_to_num(after), new.grid.cell_m)) > STEEP_RATIO
    near = ndimage.binary_dilation(steep, iterations=max(1, round(2 * EDGE_M / new.grid.cell_m)))
    after = np.where(near, after, np.nan).astype(np.float32)
    return _least_squares(before, old.grid, after, new.grid, replace(first, up_m=0.0))


def _smooth(values: Heights, grid: Grid, sigma_m: float = SMOOTH_M) -> Heights:
    """Means of the known values in a window of this sigma; NaN stays NaN."""
    known = np.isfinite(values)
    sigma = sigma_m / grid.cell_m
    if sigma < 0.5:
        return values
    level = float(np.nanmedian(values)) if known.any() else 0.0
    total = gaussian(np.where(known, values - level, 0).astype(np.float32), sigma, rim="constant")
    share = gaussian(known.astype(np.float32), sigma, rim="constant")
    return np.where(known, total / np.maximum(share, 1e-6) + level, np.nan).astype(np.float32)


def _least_squares(old: Heights, old_grid: Grid, new: Heights, grid: Grid, first: Shift) -> Shift | None:
    """The shift by repeated least squares with robust weights; None where surveys share too little ground."""
    shift = first
    for _ in range(ROUNDS):
        terms, difference, block = _equations(old, old_grid, new, grid, shift)
        if len(np.unique(block)) < LEAST_BLOCKS:
            return None
        step, error = _solve(terms[:, :3], difference, block)
        shift = replace(
            shift,
            east_m=shift.east_m + float(np.clip(step[0], -5, 5)),
            north_m=shift.north_m + float(np.clip(step[1], -5, 5)),
            up_m=shift.up_m + float(step[2]),
            east_error_m=max(float(error[0]), LEAST_ERROR_M),
            north_error_m=max(float(error[1]), LEAST_ERROR_M),
            up_error_m=max(float(error[2]), LEAST_ERROR_M),
        )
        if np.abs(step[:2]).max() < STILL_M:
            break
    share = _alike(terms)
    if share < LEAST_ALIKE:
        return None
    return replace(shift, east_error_m=shift.east_error_m / share, north_error_m=shift.north_error_m / share)


def _alike(terms: Numbers) -> float:
    """The correlation of the slopes that two surveys show of one place: 1 where they are of the ground, 0 of noise."""
    old, new = terms[:, 3:5], terms[:, 5:7]
    limit = np.quantile(np.abs(terms[:, 3:7]), 0.98)
    a, b = (np.clip(slopes, -limit, limit).ravel() for slopes in (old, new))
    a, b = a - a.mean(), b - b.mean()
    return float((a @ b) / max(np.sqrt((a @ a) * (b @ b)), 1e-12))


def _equations(
    old: Heights, old_grid: Grid, new: Heights, grid: Grid, shift: Shift
) -> tuple[Numbers, Numbers, NDArray[np.int64]]:
    """What a shift adds to the height difference of each cell, that difference, and the square that it lies in.

    Returns
    -------
    terms : (n, 7)
        What a metre east, north and up adds; then the slopes east and north of the old and of the new survey.
    difference : (n,) metres
    block : (n,) number of the square
    """
    laid = moved_onto(old, old_grid, grid, shift, up_m=shift.up_m)
    down, right = ([np.gradient(values, grid.cell_m, axis=axis) for values in (laid, new)] for axis in (0, 1))
    difference = new - laid
    usable = np.isfinite(difference) & np.all([np.isfinite(slope) for slope in (*down, *right)], axis=0)
    east, north = [slope[usable] for slope in right], [-slope[usable] for slope in down]
    # The shift of the old survey lowers slopes that rise that way, by the mean of both surveys' slopes.
    both = [-(east[0] + east[1]) / 2, -(north[0] + north[1]) / 2, np.ones(int(usable.sum()))]
    terms = np.column_stack([*both, east[0], north[0], east[1], north[1]])
    times = max(1, round(BLOCK_M / grid.cell_m))
    row, col = np.nonzero(usable)
    block = (row // times) * (grid.cols // times + 1) + col // times
    return terms.astype(np.float64), difference[usable].astype(np.float64), block


def _solve(terms: Numbers, difference: Numbers, block: NDArray[np.int64]) -> tuple[Numbers, Numbers]:
    """The (3,) step that fits best, and its standard errors with all errors within a square taken as one.

    Liang and Zeger (1986, Biometrika 73, 13-22): sums of scores over a square stand for the square.
    """
    weight: Numbers = np.ones(len(difference))
    step: Numbers = np.zeros(3)
    for _ in range(8):
        normal = terms.T @ (terms * weight[:, None]) + 1e-9 * np.eye(3)
        step = np.asarray(np.linalg.solve(normal, terms.T @ (difference * weight)), np.float64)
        rest = difference - terms @ step
        weight = biweight(rest)
    scores = terms * (weight * rest)[:, None]
    sums = np.stack([np.bincount(block, column) for column in scores.T], axis=1)
    inverse = np.linalg.inv(normal)
    spread = inverse @ (sums.T @ sums) @ inverse
    return step, np.sqrt(np.maximum(np.diag(spread), 0))


def biweight(residuals: Numbers, /) -> Numbers:
    """(n,) weights 0..1 by Tukey's biweight around the median."""
    middle = float(np.median(residuals))
    scale = max(1.4826 * float(np.median(np.abs(residuals - middle))), 1e-6)
    away = (residuals - middle) / (TUKEY * scale)
    weights: Numbers = np.clip(1 - away**2, 0, None) ** 2
    return weights


def _with_height(old: Surface, new: Surface, shift: Shift) -> Shift:
    """The shift with its height: the median difference of ground, and its standard error by squares."""
    difference = new.bare_earth - moved_onto(old.bare_earth, old.grid, new.grid, shift)
    medians = block_medians(difference, np.isfinite(difference), new.grid)[2]
    if len(medians) < 2:
        return shift
    up_m = float(np.nanmedian(difference))
    spread = 1.4826 * float(np.median(np.abs(medians - up_m)))
    return replace(shift, up_m=up_m, up_error_m=max(1.25 * spread / float(np.sqrt(len(medians))), LEAST_ERROR_M))


def block_medians(difference: Heights, usable: Mask, grid: Grid, /) -> tuple[Numbers, Numbers, Numbers]:
    """East and north of the middle of each square of BLOCK_M that is half full, and the median difference in it."""
    times = max(1, round(BLOCK_M / grid.cell_m))
    rows, cols = grid.rows // times, grid.cols // times
    blocks = np.where(usable, difference, np.nan)[: rows * times, : cols * times]
    stacked = blocks.reshape(rows, times, cols, times).swapaxes(1, 2).reshape(rows, cols, -1)
    enough = np.isfinite(stacked).mean(axis=2) > 0.5
    row, col = np.nonzero(enough)
    east = np.asarray(grid.west_m + (col + 0.5) * times * grid.cell_m, np.float64)
    north = np.asarray(grid.north_m - (row + 0.5) * times * grid.cell_m, np.float64)
    return east, north, np.asarray(np.nanmedian(stacked[enough], axis=1), np.float64)
