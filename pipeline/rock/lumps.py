"""Lumps: groups of last returns that stand above the ground around and through which no pulse has come.

Grids of bare earth lose boulders and ground filters drop them with the bushes, so lumps are looked for in the last
returns themselves, whatever class they were given. The ground below a lump is first taken from a morphological
opening (what is narrower than the widest boulder is cut off); `pipeline.rock.evidence` measures it again in a ring.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.grid import Grid, Heights
from pipeline.points.cloud import Cloud
from pipeline.settings import RockSettings

Floats = NDArray[np.float64]
Labels = NDArray[np.int64]

TREND_SIGMA_M = 2.0
"""Smoothing of the slope that is taken off before the opening; half the widest boulder, so that a boulder hardly bends it."""
FILL_M = 2.0
"""How far the lowest return of a cell may stand in for an empty neighbour."""


@dataclass(frozen=True)
class LowReturns:
    """Returns near the ground, all of length n.

    Attributes
    ----------
    east, north, height : (n,) float64, metres
    above_m : (n,) float64, metres
        Height above the opened ground; NaN where no ground is known.
    is_last : (n,) bool
    """

    east: Floats
    north: Floats
    height: Floats
    above_m: Floats
    is_last: NDArray[np.bool_]

    def take(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> LowReturns:
        """The chosen returns."""
        return LowReturns(
            self.east[which], self.north[which], self.height[which], self.above_m[which], self.is_last[which]
        )


@dataclass(frozen=True)
class Lumps:
    """Lumps found, all of length k, described by the ellipse that has their moments.

    Attributes
    ----------
    east, north : (k,) float64, metres
        Mean of the returns on the lump.
    shape_m2 : (k, 2, 2) float64
        Matrix of the outline: a place lies inside where d' shape^-1 d < 1.
    level_m : (k,) float64
        Height of the cut that separated the lump.
    n_returns : (k,) int64
    """

    east: Floats
    north: Floats
    shape_m2: Floats
    level_m: Floats
    n_returns: Labels

    def __len__(self) -> int:
        return len(self.east)

    @property
    def half_axes_m(self) -> Floats:
        """(k, 2) half axes of the outline, short then long."""
        return np.sqrt(np.linalg.eigvalsh(self.shape_m2))

    def take(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Lumps:
        """The chosen lumps."""
        return Lumps(
            self.east[which], self.north[which], self.shape_m2[which], self.level_m[which], self.n_returns[which]
        )

    @classmethod
    def join(cls, parts: list[Lumps]) -> Lumps:
        """One table of several."""
        return cls(
            np.concatenate([part.east for part in parts]),
            np.concatenate([part.north for part in parts]),
            np.concatenate([part.shape_m2 for part in parts]),
            np.concatenate([part.level_m for part in parts]),
            np.concatenate([part.n_returns for part in parts]),
        )


def low_returns(
    cloud: Cloud, height_above_m: NDArray[np.float32], grid: Grid, /, *, settings: RockSettings
) -> LowReturns:
    """The returns of the grid up to the height of the highest boulder, with their height above the opened ground."""
    above = np.asarray(height_above_m, np.float64)
    # Returns far below the given ground are noise; a filter that cut a hollow short is forgiven a boulder's height.
    is_low = cloud.is_usable & (above < settings.boulder_max_height_m) & (above > -settings.boulder_max_height_m)
    is_low &= grid.contains(cloud.east, cloud.north)
    east, north, height = cloud.east[is_low], cloud.north[is_low], cloud.height[is_low]
    is_last = cloud.is_last[is_low]
    ground = opened_ground(east, north, height, height - above[is_low], is_last, grid, settings=settings)
    return LowReturns(east, north, height, height - _at(ground, grid, east, north), is_last)


def opened_ground(
    east: Floats,
    north: Floats,
    height: Floats,
    bare_earth_m: Floats,
    is_last: NDArray[np.bool_],
    grid: Grid,
    /,
    *,
    settings: RockSettings,
) -> Heights:
    """The lowest surface with everything narrower than the widest boulder cut off.

    Parameters
    ----------
    east, north, height, bare_earth_m : (n,) float64, metres
        Returns and the filter's bare earth below each, used for the slope only: a boulder kept as ground bends it a
        little but does not hide.

    Returns
    -------
    (rows, cols) float32, metres; NaN where no return is near.

    Source
    ------
    Opening of the lowest returns: Zhang et al. (2003), IEEE TGRS 41(4) 872-882; we open what is left after the slope
    is taken off, as openings fail on slopes.
    """
    trend = _smooth_mean(bare_earth_m, grid.cell_index(east, north), grid)
    lowest = lowest_in_cell(height[is_last], grid.cell_index(east[is_last], north[is_last]), grid)
    left = _fill(lowest - trend, max_cells=FILL_M / grid.cell_m)
    left = ndimage.median_filter(left, 3, mode="nearest")  # single low returns (multipath) must not decide
    size = 2 * math.ceil(settings.boulder_max_width_m / 2 / grid.cell_m) + 1
    eroded = ndimage.minimum_filter(np.where(np.isnan(left), np.inf, left), size, mode="nearest")
    opened = ndimage.maximum_filter(np.where(np.isinf(eroded), -np.inf, eroded), size, mode="nearest")
    return np.where(np.isfinite(opened), opened + trend, np.nan).astype(np.float32)


def lowest_in_cell(values: Floats, cell: Labels, grid: Grid, /) -> Floats:
    """(rows, cols) the lowest value of each cell; NaN in empty cells. Cells of -1 are outside."""
    lowest = np.full(grid.rows * grid.cols, np.inf)
    inside = cell >= 0
    np.minimum.at(lowest, cell[inside], values[inside])
    return np.where(np.isinf(lowest), np.nan, lowest).reshape(grid.shape)


def _smooth_mean(values: Floats, cell: Labels, grid: Grid) -> Floats:
    """Gaussian-weighted mean of the values around each cell; NaN beyond the reach of two sigma."""
    n = grid.rows * grid.cols
    weight = np.bincount(cell, minlength=n).reshape(grid.shape).astype(np.float64)
    offset = float(values.mean()) if len(values) else 0.0
    total = np.bincount(cell, weights=values - offset, minlength=n).reshape(grid.shape)
    mean = np.divide(total, weight, out=np.zeros_like(total), where=weight > 0)
    sigma = TREND_SIGMA_M / grid.cell_m
    smooth = ndimage.gaussian_filter(mean * (weight > 0), sigma, truncate=2.0)
    share = ndimage.gaussian_filter((weight > 0).astype(np.float64), sigma, truncate=2.0)
    return np.where(share > 1e-6, smooth / np.maximum(share, 1e-6) + offset, np.nan)


def _fill(values: Floats, *, max_cells: float) -> Floats:
    """The values with gaps filled from the nearest known cell, up to a distance in cells."""
    gap = np.isnan(values)
    if gap.all() or not gap.any():
        return values
    distance, nearest = ndimage.distance_transform_edt(gap, return_indices=True)
    return np.where(distance <= max_cells, values[tuple(nearest)], np.nan)


def _at(values: Heights, grid: Grid, east: Floats, north: Floats) -> Floats:
    """Bilinear value at each place."""
    row = grid.north_row - 0.5 - north / grid.cell_m
    col = east / grid.cell_m - grid.west_col - 0.5
    found: Floats = ndimage.map_coordinates(values.astype(np.float64), [row, col], order=1, mode="nearest")
    return found


def find_lumps(low: LowReturns, grid: Grid, /, *, settings: RockSettings) -> Lumps:
    """Every group of neighbouring last returns above one of several levels with no lower last return between them.

    Neighbourhood is that of the fine lattice, half a cell: each fine cell takes the lowest last return in or next to
    it, so one pulse that came through to the ground breaks a lump open.
    """
    fine = Grid(grid.crs, grid.west_col * 2, grid.north_row * 2, grid.cell_m / 2, grid.rows * 2, grid.cols * 2)
    last = low.take(low.is_last & np.isfinite(low.above_m))
    cell = fine.cell_index(last.east, last.north)
    lowest = lowest_in_cell(last.above_m, cell, fine)
    reach = max(1, round(0.5 / fine.cell_m))
    height = _fill(lowest, max_cells=reach)
    found = [_lumps_at(level, height, last, cell, settings) for level in _levels(settings)]
    return Lumps.join(found)


def _levels(settings: RockSettings) -> list[float]:
    """Heights of the cuts: low for what stands free, higher for what stands in undergrowth."""
    first = 0.75 * settings.least_height_m
    return [first * 1.8**step for step in range(4)]


def _lumps_at(level_m: float, height: Floats, last: LowReturns, cell: Labels, settings: RockSettings) -> Lumps:
    """Connected groups of cells higher than `level_m`, as lumps."""
    labels, n = ndimage.label(np.nan_to_num(height, nan=-1.0) > level_m)
    label = np.where(cell >= 0, labels.ravel()[np.maximum(cell, 0)], 0).astype(np.int64)
    on = (label > 0) & (last.above_m > level_m)
    label, east, north = label[on], last.east[on], last.north[on]
    count = np.bincount(label, minlength=n + 1)
    safe = np.maximum(count, 1)
    # Moments about a whole-metre origin keep the last digits of projected coordinates.
    east_0, north_0 = (np.floor(east.min()), np.floor(north.min())) if len(east) else (0.0, 0.0)
    mean_e = np.bincount(label, weights=east - east_0, minlength=n + 1) / safe
    mean_n = np.bincount(label, weights=north - north_0, minlength=n + 1) / safe
    d_e, d_n = east - east_0 - mean_e[label], north - north_0 - mean_n[label]
    moments = [
        np.bincount(label, weights=a * b, minlength=n + 1) / safe for a, b in ((d_e, d_e), (d_e, d_n), (d_n, d_n))
    ]
    # A full disc of radius r has variance r^2/4 along each axis; (n+1)/(n-1) undoes the shrinkage of few returns.
    scale = 4.0 * (count + 1) / np.maximum(count - 1, 1)
    shape = np.stack([moments[0], moments[1], moments[1], moments[2]], axis=-1).reshape(-1, 2, 2) * scale[:, None, None]
    shape += np.eye(2) * 0.2**2
    lumps = Lumps(mean_e + east_0, mean_n + north_0, shape, np.full(n + 1, level_m), count)
    long = lumps.half_axes_m[:, 1]
    return lumps.take((count >= settings.least_lump_returns) & (2 * long <= 1.2 * settings.boulder_max_width_m))
