"""Surface: the bare earth between its returns, how well it is supported, and the canopy above it."""

from __future__ import annotations

import numpy as np
import startinpy
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from pipeline.grid import EastNorth, EastNorthHeight, Grid, Heights
from pipeline.points.cloud import Cloud
from pipeline.settings import TerrainSettings

ROW_M = 2.0
"""Height of the rows in which points are handed to the triangulation; near neighbours in turn make it quick."""


def surface_from_ground(ground: EastNorthHeight, grid: Grid, /, *, settings: TerrainSettings) -> Heights:
    """Bare earth at the cell centres, from the triangulation of the ground returns.

    Parameters
    ----------
    ground : (n, 3) float64, metres
        Ground and water returns of the grid and its halo.

    Returns
    -------
    (rows, cols) float32, metres; NaN further than `settings.max_gap_m` from any ground return.
    """
    east, north = grid.centres()
    centres = np.column_stack([axis.ravel() for axis in np.meshgrid(east, north)])
    heights = height_of_surface(ground, centres).astype(np.float32).reshape(grid.shape)
    far = ~(ground_support(ground[:, :2], grid) <= settings.max_gap_m)
    heights[far] = np.nan
    return heights


def height_of_surface(ground: EastNorthHeight, places: EastNorth, /) -> NDArray[np.float64]:
    """(m,) elevation of the triangulated ground at the places; outside the triangles that of the nearest return.

    Without any ground, NaN.
    """
    if len(ground) == 0:
        return np.full(len(places), np.nan)
    origin = np.floor(ground[:, :2].min(axis=0))
    local = ground - np.append(origin, 0.0)
    at = places - origin
    heights = np.full(len(places), np.nan)
    if len(ground) >= 3:
        heights = _interpolate(local[_winding_order(local[:, :2])], at)
    unknown = np.isnan(heights)
    if unknown.any():
        heights[unknown] = ground[cKDTree(local[:, :2]).query(at[unknown])[1], 2]
    return heights


def _winding_order(en: EastNorth, /) -> NDArray[np.intp]:
    """Order along rows, forth and back, so that each point is near the one before."""
    row = np.floor(en[:, 1] / ROW_M)
    return np.lexsort((en[:, 1], np.where(row % 2 == 0, en[:, 0], -en[:, 0]), row))


def _interpolate(ground: EastNorthHeight, places: EastNorth, /) -> NDArray[np.float64]:
    """(m,) linear interpolation in the Delaunay triangles; NaN outside."""
    triangulation = startinpy.DT()
    triangulation.insert(ground)
    if triangulation.number_of_triangles() == 0:
        return np.full(len(places), np.nan)
    heights: NDArray[np.float64] = triangulation.interpolate({"method": "TIN"}, places)
    return heights


def ground_support(ground_en: EastNorth, grid: Grid, /) -> Heights:
    """(rows, cols) float32: metres from each cell centre to the nearest ground return; inf without any."""
    if len(ground_en) == 0:
        return np.full(grid.shape, np.inf, np.float32)
    east, north = grid.centres()
    centres = np.column_stack([axis.ravel() for axis in np.meshgrid(east, north)])
    distance = np.asarray(cKDTree(ground_en).query(centres)[0], np.float32)
    return distance.reshape(grid.shape)


def canopy_height(
    cloud: Cloud, asprs_class: NDArray[np.uint8], height_above_m: NDArray[np.float32], grid: Grid, /
) -> Heights:
    """(rows, cols) float32: height of the highest vegetation above the bare earth, 0 where there is none.

    A cell far below the median of its 3 x 3 neighbourhood is a pit, a beam that slipped through the crown, and takes
    the median. NaN where no return fell in the cell or its neighbours.
    """
    wide = grid.pad(grid.cell_m)
    index = wide.cell_index(cloud.east, cloud.north)
    is_plant = np.isin(asprs_class, (3, 4, 5)) & (index >= 0)
    is_seen = np.isfinite(height_above_m) & (index >= 0)
    top = np.full(wide.rows * wide.cols, -np.inf, np.float32)
    top[index[is_seen]] = 0.0
    np.maximum.at(top, index[is_plant], height_above_m[is_plant])
    canopy = top.reshape(wide.shape)
    median = ndimage.median_filter(canopy, size=3, mode="nearest")
    canopy = np.where(canopy < 0.5 * median, median, canopy)
    inner: Heights = canopy[wide.window_of(grid)]
    return np.where(np.isfinite(inner), inner, np.nan).astype(np.float32)
