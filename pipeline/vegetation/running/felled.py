"""Felled areas: rough open land that the forest around it stands up against."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize

from pipeline.lattice.grid import Grid, Heights


@dataclass(frozen=True)
class ForestBeside:
    """What stands along the edge of areas, (n,) each.

    Attributes
    ----------
    share : of the strip beside the area, under forest
    height_m : median height of that forest; NaN where there is none
    """

    share: NDArray[np.float64]
    height_m: NDArray[np.float64]


def forest_beside(
    polygons: NDArray[np.object_],
    stand_height: Heights,
    grid: Grid,
    /,
    *,
    least_height_m: float,
    strip_m: tuple[float, float],
) -> ForestBeside:
    """How much of each area's edge is forest of at least `least_height_m`, and how high.

    A felled area is cut out of a stand, so that most of its edge is as high as the stand; a meadow in young growth or
    beside fields is not (common practice, no source). A glade that was never wooded looks the same: lidar cannot tell.

    Parameters
    ----------
    stand_height : (rows, cols) of `pipeline.vegetation.running.boundaries.stand_height`, metres, on `grid`
    strip_m : how far from the area the strip beside it begins and ends
    """
    found = [_beside(polygon, stand_height, grid, least_height_m, strip_m) for polygon in polygons]
    share, height = np.array(found, np.float64).reshape(-1, 2).T
    return ForestBeside(share, height)


def _beside(
    polygon: shapely.Polygon, stand_height: Heights, grid: Grid, least_height_m: float, strip_m: tuple[float, float]
) -> tuple[float, float]:
    strip = shapely.difference(shapely.buffer(polygon, strip_m[1]), shapely.buffer(polygon, strip_m[0]))
    window = grid.window_around(strip.bounds)
    part = stand_height[window]
    if part.size == 0:
        return 0.0, float("nan")
    transform = grid.part(window).transform
    heights = part[rasterize([strip], out_shape=part.shape, transform=transform).astype(np.bool_)]
    high = heights[heights >= least_height_m]
    if not len(high):
        return 0.0, float("nan")
    return len(high) / len(heights), float(np.median(high))
