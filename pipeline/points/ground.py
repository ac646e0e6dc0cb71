"""Ground: which returns came from the bare earth.

The lowest return of each cell makes a first surface. Openings with growing windows take away what rises above its
surroundings more steeply than terrain does; the rest, filled and smoothed, is the surface each return is held
against, with a tolerance that grows with the slope (Zhang et al. 2003; Pingel et al. 2013).
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from pipeline.grid import EastNorthHeight, Heights, Mask
from pipeline.settings import PointsSettings


def find_ground(enh: EastNorthHeight, is_candidate: Mask, /, *, settings: PointsSettings) -> Mask:
    """(n,) bool: returns of the bare earth.

    Parameters
    ----------
    enh : (n, 3) float64, metres
    is_candidate : (n,) bool
        Returns that may be ground: usable, not noise, last of their pulse.
    """
    ground = np.zeros(len(enh), np.bool_)
    index = np.flatnonzero(is_candidate)
    if len(index) == 0:
        return ground
    east, north, height = enh[index].T
    cell_m = settings.ground_cell_m
    col = np.floor(east / cell_m).astype(np.int64)
    row = np.floor(north / cell_m).astype(np.int64)
    col -= col.min()
    row -= row.min()
    lowest = np.full((int(row.max()) + 1, int(col.max()) + 1), np.inf)
    np.minimum.at(lowest, (row, col), height)
    is_object = _is_object(lowest, settings=settings)
    surface = _fill(np.where(is_object | np.isinf(lowest), np.nan, lowest))
    north_slope, east_slope = np.gradient(surface, cell_m) if min(surface.shape) > 1 else (surface * 0, surface * 0)
    at = np.vstack((north / cell_m - 0.5, east / cell_m - 0.5))
    at -= np.array([[np.floor(north / cell_m).min()], [np.floor(east / cell_m).min()]])
    level = ndimage.map_coordinates(surface, at, order=1, mode="nearest")
    steepness = ndimage.map_coordinates(np.hypot(north_slope, east_slope), at, order=1, mode="nearest")
    tolerance = settings.ground_tolerance_m + settings.ground_tolerance_slope_m * steepness
    ground[index] = np.abs(height - level) <= tolerance
    return ground


def _disk(radius: int) -> Mask:
    """(2 radius + 1,) squared bool: a round window."""
    away = np.arange(-radius, radius + 1)
    disk: Mask = np.hypot(*np.meshgrid(away, away)) <= radius + 0.5
    return disk


def _is_object(lowest: Heights, /, *, settings: PointsSettings) -> Mask:
    """Cells that an opening lowers by more than terrain of the given slope would allow."""
    surface = _fill(np.where(np.isinf(lowest), np.nan, lowest))
    is_object = np.zeros(surface.shape, np.bool_)
    for radius in range(1, round(settings.ground_window_m / settings.ground_cell_m) + 1):
        window = _disk(radius)
        opened = ndimage.grey_opening(surface, footprint=window, mode="nearest")
        is_object |= surface - opened > settings.ground_slope * radius * settings.ground_cell_m
        surface = opened
    return is_object


def _fill(heights: Heights) -> Heights:
    """Unknown cells take the height of the nearest known cell."""
    unknown = np.isnan(heights)
    if unknown.all() or not unknown.any():
        return heights
    near = ndimage.distance_transform_edt(unknown, return_distances=False, return_indices=True)
    filled: Heights = heights[tuple(near)]
    return filled
