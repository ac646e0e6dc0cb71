"""Smooth outlines of cells that lie together."""

from __future__ import annotations

import itertools
from typing import cast

import contourpy
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import Polygon

from pipeline.lattice.grid import EastNorth, Grid, Mask


def outlines_of(cells: Mask, grid: Grid, /) -> list[Polygon]:
    """The outlines of a mask as smooth areas through the cells' edges; islands stay out.

    What reaches the rim of the grid is cut straight there.

    A gaussian window of one cell rounds the corners, and vertices are dropped that bend an edge by less than a quarter
    of a cell.
    """
    soft = ndimage.gaussian_filter(np.pad(cells, 3, mode="edge").astype(np.float32), 1.0)
    east = (np.arange(soft.shape[1]) + grid.west_col - 3 + 0.5) * grid.cell_m
    north = (grid.north_row + 3 - np.arange(soft.shape[0]) - 0.5) * grid.cell_m
    lines = contourpy.contour_generator(east, north, soft, fill_type=contourpy.FillType.OuterOffset)
    points, offsets = cast("tuple[list[EastNorth], list[NDArray[np.uint32]]]", lines.filled(0.5, np.inf))
    shapes = []
    for ring, at in zip(points, offsets, strict=True):
        rings = [ring[a:b] for a, b in itertools.pairwise(at)]
        shapes.append(Polygon(rings[0], rings[1:]))
    whole = shapely.simplify(
        shapely.intersection(shapely.union_all(shapes), shapely.box(*grid.bounds)), grid.cell_m / 4
    )
    return [part for part in shapely.get_parts(whole) if isinstance(part, Polygon)]
