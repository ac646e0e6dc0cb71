"""The bare earth between its returns, how far it is from the next of them, and the height of the canopy above it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from rasterio.features import rasterize
from shapely.geometry.base import BaseGeometry

from pipeline.lattice.grid import EastNorth, EastNorthHeight, Grid, Heights, Mask
from pipeline.lattice.per_cell import highest_in_cells, lowest_in_cells
from pipeline.lattice.windows import highest_around, middle_of_nine
from pipeline.returns.asprs import BUILDING, NOISE, VEGETATION, WIRE
from pipeline.returns.cloud import Cloud
from pipeline.returns.triangulation import cell_means, heights_at_nodes, nearest_places
from pipeline.settings import TerrainSettings

NO_GROUND = (BUILDING, WIRE, *NOISE)
"""Classes of returns that ground never is."""


def surface_from_ground(ground: EastNorthHeight, grid: Grid, /, *, settings: TerrainSettings) -> Heights:
    """Bare earth at the cell centres, from the triangulation of the ground returns.

    Ground returns that share a cell are first replaced by their mean, which halves the noise where there are many.

    Parameters
    ----------
    ground : (n, 3) float64, metres
        Ground and water returns of the grid and its halo.

    Returns
    -------
    (rows, cols) float32, metres; NaN further than `settings.max_gap_m` from any ground return.
    """
    east, north = grid.centres()
    nodes = cell_means(ground, cell_m=grid.cell_m)
    heights = heights_at_nodes(nodes, east, north).astype(np.float32)
    heights[~_has_near(nodes[:, :2], grid, reach_m=settings.max_gap_m)] = np.nan
    return heights


def level_water(
    bare_earth: Heights,
    grid: Grid,
    shapes: Sequence[BaseGeometry],
    levels_m: Sequence[float],
    /,
    *,
    max_off_m: float,
) -> Heights:
    """(rows, cols): the bare earth with each body of water flat at its level, voids in it filled.

    Triangles across a lake make ridges and troughs that are not there; its surface is level by nature. Ground within
    the shape that lies further than `max_off_m` from the level is an island or a piece of the bank, and stays.

    Parameters
    ----------
    shapes : n polygons in the CRS of the grid
    levels_m : n elevations; a body without a finite one is left as it is
    """
    flat = [(shape, level) for shape, level in zip(shapes, levels_m, strict=True) if np.isfinite(level)]
    if not flat:
        return bare_earth
    level = rasterize(flat, out_shape=grid.shape, transform=grid.transform, fill=np.nan, dtype="float32")
    is_water = np.isfinite(level) & ~(np.abs(bare_earth - level) > max_off_m)
    return np.where(is_water, level, bare_earth).astype(np.float32)


def ground_support(ground_en: EastNorth, grid: Grid, /) -> Heights:
    """(rows, cols) float32: metres from each cell centre to the nearest ground return; inf without any."""
    return _nearest(ground_en, grid, np.ones(grid.shape, np.bool_)).reshape(grid.shape)


def _nearest(places: EastNorth, grid: Grid, which: Mask, /) -> Heights:
    """(k,) metres from the centres of the chosen cells to the nearest place; inf without any."""
    row, col = np.nonzero(which)
    if len(places) == 0 or len(row) == 0:
        return np.full(len(row), np.inf, np.float32)
    east, north = grid.centres()
    return np.asarray(nearest_places(places, np.column_stack((east[col], north[row])))[0], np.float32)


def _has_near(places: EastNorth, grid: Grid, /, *, reach_m: float) -> Mask:
    """(rows, cols) bool: cells with a place no further from their centre than the reach."""
    wide = grid.pad(reach_m)
    held = np.zeros(wide.rows * wide.cols, np.uint8)
    index = wide.cell_index(places[:, 0], places[:, 1])
    held[index[index >= 0]] = 1
    # The far corner of a cell so many cells away still lies within the reach.
    cells = max(0, int(reach_m / (math.sqrt(2) * grid.cell_m) - 0.5))
    near: Mask = highest_around(held.reshape(wide.shape), cells)[wide.window_of(grid)] > 0
    unsure = ~near
    near[unsure] = _nearest(places, grid, unsure) <= reach_m
    return near


def lowest_last(cloud: Cloud, asprs_class: NDArray[np.uint8], grid: Grid, /) -> Heights:
    """(rows, cols) float32, metres: the lowest last return of each cell that may be ground; NaN where there is none.

    Parameters
    ----------
    cloud, asprs_class : n returns
        Those outside the grid are left out.
    """
    which = cloud.is_last & cloud.is_usable & ~np.isin(asprs_class, NO_GROUND)
    cell = grid.cell_index(cloud.east, cloud.north)
    return lowest_in_cells(cell[which], cloud.height[which], grid.shape).astype(np.float32)


def canopy_height(
    cloud: Cloud, asprs_class: NDArray[np.uint8], height_above_m: NDArray[np.float32], grid: Grid, /
) -> Heights:
    """(rows, cols) float32: height of the highest vegetation above the bare earth, 0 where there is none.

    A cell far below the median of its 3 x 3 neighbourhood is a pit, a beam that slipped through the crown, and takes
    the median. NaN where no return fell in the cell or its neighbours.
    """
    wide = grid.pad(grid.cell_m)
    index = wide.cell_index(cloud.east, cloud.north)
    is_plant = np.isin(asprs_class, VEGETATION) & (index >= 0)
    is_seen = np.isfinite(height_above_m) & (index >= 0)
    canopy = highest_in_cells(index[is_plant], height_above_m[is_plant], wide.shape, empty=-np.inf)
    cells, seen = canopy.ravel(), index[is_seen]
    cells[seen] = np.maximum(cells[seen], 0)
    median = middle_of_nine(canopy)
    canopy = np.where(canopy < 0.5 * median, median, canopy)
    inner: Heights = canopy[wide.window_of(grid)]
    return np.where(np.isfinite(inner), inner, np.nan).astype(np.float32)
