"""Ground on which the question how it runs can be answered: forest that a mapper can get to, away from its edges."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import geopandas as gpd
import numpy as np
from rasterio.features import geometry_mask
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from pipeline.lattice.grid import Grid, Heights, Mask

AWAY_M = 15.0
"""Distance kept from the edge of the area, of open land, of water and of what may not be entered: twice the radius of
the ground that a note is about, so that all of it is forest (our choice)."""
STEEPEST_DEG = 40.0
"""Ground steeper than this is not walked on: nobody runs there, whatever grows (common practice, no source)."""
BARRIERS = ("301", "302", "307", "520", "521")
"""Areas that nobody walks through."""
NO_FOREST = (*BARRIERS, "401", "402", "403", "404", "412", "413", "414", "501", "502", "522")
"""Areas in which there is no forest to run in."""


def askable_ground(
    density: Heights,
    grid: Grid,
    /,
    *,
    area: BaseGeometry | None = None,
    no_forest: Sequence[BaseGeometry] = (),
    barriers: Sequence[BaseGeometry] = (),
    slope_deg: Heights | None = None,
) -> Mask:
    """(rows, cols) bool: forest within the area, AWAY_M from all that is none, in one piece with most of it.

    What is cut off from the largest piece, such as an island, cannot be reached on foot.

    Parameters
    ----------
    density : (rows, cols) of the running layer, NaN where not seen
    area : the outline; without one, what the grid covers
    no_forest, barriers : shapes with a symbol of NO_FOREST and of BARRIERS
    slope_deg : (rows, cols) slope of the ground in degrees
    """
    outside = ~_burnt([area], grid) if area is not None else np.zeros(grid.shape, np.bool_)
    closed = np.pad(_burnt(no_forest, grid) | outside, 1, constant_values=True)
    # The edge of the raster is an edge of the area, too.
    far = ndimage.distance_transform_edt(~closed)[1:-1, 1:-1] * grid.cell_m > AWAY_M
    found = far & np.isfinite(density)
    if slope_deg is not None and slope_deg.shape == density.shape:
        found &= ~(slope_deg > STEEPEST_DEG)
    return found & _in_reach(~(_burnt(barriers, grid) | outside))


def askable_by_draft(
    density: Heights,
    grid: Grid,
    area: BaseGeometry,
    layers: Iterable[gpd.GeoDataFrame],
    /,
    *,
    slope_deg: Heights | None,
) -> Mask:
    """The same by what a draft draws: areas of open land, water and buildings.

    Parameters
    ----------
    layers : of `draft.gpkg`
    """
    shapes: dict[tuple[str, ...], list[BaseGeometry]] = {NO_FOREST: [], BARRIERS: []}
    for table in layers:
        drawn = table[~table["status"].isin(("candidate", "rejected"))]
        # Not `partition`: of a layer without features it makes a table without columns.
        main = drawn["symbol"].astype(str).str.split(".").str[0]
        for symbols, found in shapes.items():
            found += [shape for shape in drawn.geometry[main.isin(symbols)] if shape.geom_type == "Polygon"]
    return askable_ground(
        density, grid, area=area, no_forest=shapes[NO_FOREST], barriers=shapes[BARRIERS], slope_deg=slope_deg
    )


def _in_reach(walkable: Mask) -> Mask:
    pieces, n = ndimage.label(walkable, structure=np.ones((3, 3)))
    if n <= 1:
        return walkable
    sizes = np.bincount(pieces.ravel())
    sizes[0] = 0
    return np.asarray(pieces == int(sizes.argmax()), np.bool_)


def _burnt(shapes: Sequence[BaseGeometry], grid: Grid) -> Mask:
    if not len(shapes):
        return np.zeros(grid.shape, np.bool_)
    return np.asarray(geometry_mask(list(shapes), grid.shape, grid.transform, invert=True, all_touched=True), np.bool_)
