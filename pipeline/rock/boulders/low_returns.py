"""Low returns: what came back from up to the height of a boulder, and how high it lies above the ground around.

Grids of bare earth lose boulders and ground filters drop them with the bushes, so boulders are looked for in the
returns themselves, whatever class they were given. The ground below them is first taken from a morphological opening:
what is narrower than the widest boulder is cut off. `pipeline.rock.boulders.evidence` measures it again, in a ring.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.fill import fill_nearest
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.means import Known, gaussian_window
from pipeline.lattice.per_cell import count_in_cells, lowest_in_cells, sum_in_cells
from pipeline.lattice.sampling import bilinear, row_col_between
from pipeline.lattice.windows import highest_around, lowest_around
from pipeline.returns.buckets import Buckets
from pipeline.returns.cloud import Cloud

Floats = NDArray[np.float64]
Labels = NDArray[np.int64]

BOULDER_MAX_HEIGHT_M = 6.0
"""Highest boulder looked for; what lies higher above the ground counts as crown and is left out (our choice)."""


@dataclass(frozen=True)
class LowReturns:
    """Returns near the ground, all of length n.

    Attributes
    ----------
    east, north, height : (n,) float64, metres
    above_m, above_near_m : (n,) float64, metres
        Height above the opened ground (see `opened_grounds`) that even the widest boulder is cut off, and above the
        ground that only narrow ones are cut off; NaN where no ground is known.
    is_last : (n,) bool
    flight_line : (n,) uint16
    brightness : (n,) float32
        Logarithm of the intensity beside that of the ground around, as `brightness_beside_ground` gives it; NaN where
        it tells nothing.
    """

    east: Floats
    north: Floats
    height: Floats
    above_m: Floats
    above_near_m: Floats
    is_last: NDArray[np.bool_]
    flight_line: NDArray[np.uint16]
    brightness: NDArray[np.float32]

    @cached_property
    def buckets(self) -> Buckets:
        """Index of the places, made once."""
        return Buckets.of(self.east, self.north)

    def take(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> LowReturns:
        """The chosen returns."""
        return LowReturns(
            self.east[which],
            self.north[which],
            self.height[which],
            self.above_m[which],
            self.above_near_m[which],
            self.is_last[which],
            self.flight_line[which],
            self.brightness[which],
        )


def low_returns(cloud: Cloud, height_above_m: NDArray[np.float32], grid: Grid, /) -> LowReturns:
    """The returns of the grid up to the height of the highest boulder, with their height above the opened ground."""
    above = np.asarray(height_above_m, np.float64)
    # Returns far below the given ground are noise; a filter that cut a hollow short is forgiven a boulder's height.
    is_low = cloud.is_usable & (above < BOULDER_MAX_HEIGHT_M) & (above > -BOULDER_MAX_HEIGHT_M)
    is_low &= grid.contains(cloud.east, cloud.north)
    east, north, height = cloud.east[is_low], cloud.north[is_low], cloud.height[is_low]
    is_last = cloud.is_last[is_low]
    grounds = opened_grounds(east, north, height, height - above[is_low], is_last, grid)
    at = row_col_between(np.column_stack((east, north)), grid)
    above_m, above_near_m = (height - bilinear(ground, *at) for ground in grounds)
    is_whole = is_last & (cloud.return_number[is_low] <= 1)
    shown = np.where(is_whole, cloud.intensity[is_low], 0)
    brightness = brightness_beside_ground(east, north, shown, above[is_low], grid)
    return LowReturns(east, north, height, above_m, above_near_m, is_last, cloud.flight_line[is_low], brightness)


ON_GROUND_M = 0.2
"""Returns this near the filter's bare earth show how bright the ground is: as rough as a forest floor is (our
choice)."""
BRIGHTNESS_CELL_M = 2.0
"""Side of the cells in which the brightness of the ground is averaged; it changes over metres, not over a hand."""


def brightness_beside_ground(
    east: Floats, north: Floats, intensity: NDArray[np.integer], above_m: Floats, grid: Grid, /
) -> NDArray[np.float32]:
    """(n,) logarithm of how bright each return is beside the ground within 8 m; NaN where either is unknown.

    Rock and soil stop a pulse whole and throw back much of it; boughs, through which part of it passes, throw back
    less: a half to nine tenths of what the ground does, in five real tiles.

    Parameters
    ----------
    intensity : (n,)
        0 where it is unknown, or where the pulse came back in parts: each part is dim, whatever it met.
    above_m : (n,) metres above the filter's bare earth
    """
    coarse = Grid.covering(grid.bounds, cell_m=BRIGHTNESS_CELL_M, crs=grid.crs)
    cell = coarse.cell_index(east, north)
    is_known = intensity > 0
    shown = np.log(np.maximum(intensity, 1).astype(np.float64))
    on_ground = is_known & (np.abs(above_m) < ON_GROUND_M)
    ground = _smooth_mean(shown[on_ground], cell[on_ground], coarse)
    return np.where(is_known, shown - ground.ravel()[cell], np.nan).astype(np.float32)


BOULDER_MAX_WIDTH_M = 9.0
"""Widest lump that can be one boulder; wider rises belong to the ground (our choice). Wider costs time and makes
boulders of knolls, narrower cuts the widest boulders off."""
NARROW_WIDTH_M = 5.0
"""Widest lump that is cut off the ground that narrow ones are measured from. On restless or steep ground the lowest
places within the widest boulder lie metres lower than the foot of a small block; narrower, blocks 4 m wide are lost."""
TREND_SIGMA_M = 4.0
"""Sigma of the smoothing of the slope that is taken off before the opening. Narrower, a boulder that a filter kept as
ground bends the slope: at 4 m, one 2 m high bends it by a tenth of its height."""
FILL_M = 2.0
"""How far from a cell its lowest return may stand in for empty neighbours in the opened ground (our choice)."""


def opened_grounds(
    east: Floats, north: Floats, height: Floats, bare_earth_m: Floats, is_last: NDArray[np.bool_], grid: Grid, /
) -> tuple[Heights, Heights]:
    """The lowest surface with everything narrower than the widest boulder cut off, and with narrow boulders cut off.

    Parameters
    ----------
    east, north, height, bare_earth_m : (n,) float64, metres
        Returns and the filter's bare earth below each, used for the slope only: a boulder kept as ground bends it a
        little but does not hide.

    Returns
    -------
    (rows, cols) float32 twice, metres; NaN where no return is near.

    Source
    ------
    Opening of the lowest returns: Zhang et al. (2003), IEEE TGRS 41(4) 872-882; we open what is left after the slope
    is taken off, as openings fail on slopes.
    """
    trend = _smooth_mean(bare_earth_m, grid.cell_index(east, north), grid)
    lowest = lowest_in_cells(grid.cell_index(east[is_last], north[is_last]), height[is_last], grid.shape)
    left = fill_nearest(lowest - trend, reach_cells=FILL_M / grid.cell_m)
    left = ndimage.median_filter(left, 3, mode="nearest")  # single low returns (multipath) must not decide
    low = np.where(np.isnan(left), np.inf, left)
    wide, narrow = (_opened(low, width_m, grid) for width_m in (BOULDER_MAX_WIDTH_M, NARROW_WIDTH_M))
    return (wide + trend).astype(np.float32), (narrow + trend).astype(np.float32)


def _opened(low: Floats, width_m: float, grid: Grid) -> Floats:
    """The heights with everything narrower cut off; infinite heights are unknown, and NaN where all around are."""
    half_side = math.ceil(width_m / 2 / grid.cell_m)
    eroded = lowest_around(low, half_side)
    opened = highest_around(np.where(np.isinf(eroded), -np.inf, eroded), half_side)
    return np.where(np.isfinite(opened), opened, np.nan)


def _smooth_mean(values: Floats, cell: Labels, grid: Grid) -> Floats:
    """Gaussian-weighted mean of the values around each cell; NaN beyond the reach of two sigma."""
    count = count_in_cells(cell, grid.shape)
    offset = float(values.mean()) if len(values) else 0.0
    total = sum_in_cells(cell, values - offset, grid.shape)
    mean = np.divide(total, count, out=np.zeros_like(total), where=count > 0)
    window = gaussian_window(TREND_SIGMA_M / grid.cell_m, rim="reflect", truncate=2.0)
    known = Known.of(count > 0, window)
    return np.where(known.share > 1e-6, known.mean(mean) + offset, np.nan)
