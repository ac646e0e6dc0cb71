"""A quick estimate of which returns reached the ground, for judging a survey before anything is classified."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.fill import fill_nearest
from pipeline.lattice.grid import Mask
from pipeline.returns.cloud import Cloud

GROUND_CELL_M = 3.0
"""Side of the cell whose lowest return stands for the ground: in dense forest smaller cells often hold no ground
return, larger ones hide slopes (our choice)."""
GROUND_TOLERANCE_M = 0.5
"""Returns up to this height above the plane through the lowest return of their cell count as ground (our choice)."""
GROUND_TILT_ERROR_M = 0.25
"""Metres by which `GROUND_TOLERANCE_M` grows with the slope, at a slope of 1 in 1: the slope of the lowest surface is
good to about a sixth, over half a cell of 3 m (measured on made scenes)."""
HANGING_SLOPE = 0.75
"""Rise over run by which the lowest return of a cell may stand steeper above the cells around than the slope there;
with more it hangs in the canopy. Ground that is 37 degrees steeper than what lies around passes (our choice)."""


def near_ground(cloud: Cloud, /) -> Mask:
    """(n,) bool: last returns near the lowest surface.

    A return counts when it lies within a tolerance, which grows with the slope, of the plane of `above_lowest`. It is
    no classification: it misses some ground returns on rough slopes, and takes the lowest herbs and flat roofs for
    ground. Against reference classes the number comes out within a tenth in forest, and half too high among buildings.
    """
    return is_near(*above_lowest(cloud))


def is_near(above_m: NDArray[np.float64], tilt: NDArray[np.float64], /) -> Mask:
    """(n,) bool: returns that `near_ground` counts, by what `above_lowest` says of them."""
    near: Mask = np.abs(above_m) < GROUND_TOLERANCE_M + GROUND_TILT_ERROR_M * tilt
    return near


def above_lowest(cloud: Cloud, /) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(n,) metres above the lowest surface, and (n,) tilt of that surface, as rise over run.

    The lowest last return of each cell stands for the ground there, under a plane tilted as the surface of the lowest
    returns is around. NaN for all but last returns, and where even the lowest return of a cell hangs in the canopy, far
    above those around.
    """
    above_m, tilt = np.full(len(cloud), np.nan), np.zeros(len(cloud))
    index = np.flatnonzero(cloud.is_last)
    if len(index) == 0:
        return above_m, tilt
    east, north, height = cloud.east[index], cloud.north[index], cloud.height[index]
    cell_m = GROUND_CELL_M
    col, row = np.floor(east / cell_m).astype(np.int64), np.floor(north / cell_m).astype(np.int64)
    col, row = col - col.min(), row - row.min()
    shape = int(row.max()) + 1, int(col.max()) + 1
    cell = row * shape[1] + col
    lowest = _lowest_of_cells(cell, height, shape[0] * shape[1])
    known = np.where(lowest < 0, np.nan, height[lowest]).reshape(shape)
    surface, north_slope, east_slope = _lowest_surface(known, cell_m)
    foot, tilt[index] = lowest[cell], np.hypot(north_slope, east_slope)[cell]
    level = height[foot] + east_slope[cell] * (east - east[foot]) + north_slope[cell] * (north - north[foot])
    hangs = height[foot] - surface[cell] > cell_m * (tilt[index] + HANGING_SLOPE)
    above_m[index] = np.where(hangs, np.nan, height - level)
    return above_m, tilt


def _lowest_of_cells(cell: NDArray[np.int64], height: NDArray[np.float64], n_cells: int) -> NDArray[np.int64]:
    """(n_cells,) index of the lowest return of each cell; -1 where there is none."""
    order = np.lexsort((height, cell))
    is_first = np.concatenate(([True], np.diff(cell[order]) > 0))
    lowest = np.full(n_cells, -1, np.int64)
    lowest[cell[order][is_first]] = order[is_first]
    return lowest


def _lowest_surface(
    lowest: NDArray[np.float64], cell_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Smoothed surface of the lowest returns, and its slopes to the north and east, all flat (n_cells,)."""
    surface = ndimage.uniform_filter(ndimage.median_filter(fill_nearest(lowest), 5), 3)
    slopes = [np.gradient(surface, cell_m, axis=axis) if surface.shape[axis] > 1 else surface * 0 for axis in (0, 1)]
    return surface.ravel(), slopes[0].ravel(), slopes[1].ravel()
