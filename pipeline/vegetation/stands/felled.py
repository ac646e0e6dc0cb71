"""Felled areas: rough open land that the forest around it stands up against."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize

from pipeline.lattice.grid import Grid, Heights
from pipeline.vegetation.stands.stand_height import stands_of

LEAST_STAND_M = 10.0
"""Forest worth felling is at least this high (common practice, no source)."""
STRIP_M = (4.0, 10.0)
"""How far from the open land the strip begins and ends that is judged for forest: past the blur of the forest's edge,
and a crown's width from there (our choice)."""
MIN_EDGE_RATIO = 0.6
"""Rough open land with a greater share of its edge in such forest was perhaps cut out of it (our choice)."""


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


def say_where_felled(areas: gpd.GeoDataFrame, canopy_height: Heights, grid: Grid, /) -> gpd.GeoDataFrame:
    """The areas; of rough open land that forest stands up against, the evidence says that it was perhaps felled.

    The standard shows felled land as the open land it is until trees stand again (403, 404): only the evidence tells.

    Parameters
    ----------
    areas : features with `symbol` and `evidence`
    canopy_height : (rows, cols) metres above ground, NaN where unknown
    """
    areas = areas.copy()
    height, larger = stands_of(canopy_height, grid)
    rough = np.flatnonzero(areas["symbol"].isin(["403", "404"]).to_numpy())
    beside = forest_beside(areas.geometry.to_numpy()[rough], height, larger)
    for i, part, stand_m in zip(rough, beside.share, beside.height_m, strict=True):
        if part >= MIN_EDGE_RATIO:
            areas.loc[areas.index[i], "evidence"] += (
                f"; forest {stand_m:.0f} m high along {part:.0%} of its edge: perhaps felled"
            )
    return areas


def forest_beside(polygons: NDArray[np.object_], stand_height: Heights, grid: Grid, /) -> ForestBeside:
    """How much of each area's edge is forest worth felling, and how high.

    A felled area is cut out of a stand, so that most of its edge is as high as the stand; a meadow in young growth or
    beside fields is not (common practice, no source). A glade that was never wooded looks the same: lidar cannot tell.

    Parameters
    ----------
    stand_height : (rows, cols) of `pipeline.vegetation.stands.stand_height.stand_height`, metres, on `grid`
    """
    found = [_beside(polygon, stand_height, grid) for polygon in polygons]
    share, height = np.array(found, np.float64).reshape(-1, 2).T
    return ForestBeside(share, height)


def _beside(polygon: shapely.Polygon, stand_height: Heights, grid: Grid) -> tuple[float, float]:
    """Share of the strip beside one area that is forest, and the median height of that forest."""
    strip = shapely.difference(shapely.buffer(polygon, STRIP_M[1]), shapely.buffer(polygon, STRIP_M[0]))
    window = grid.window_around(strip.bounds)
    part = stand_height[window]
    if part.size == 0:
        return 0.0, float("nan")
    transform = grid.part(window).transform
    heights = part[rasterize([strip], out_shape=part.shape, transform=transform).astype(np.bool_)]
    high = heights[heights >= LEAST_STAND_M]
    if not len(high):
        return 0.0, float("nan")
    return len(high) / len(heights), float(np.median(high))
