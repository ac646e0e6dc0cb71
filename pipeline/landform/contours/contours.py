"""Contours 101 and index contours 102."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from pipeline.features import make_features
from pipeline.landform.contours.isolines import contour_levels, is_index, trace_contours
from pipeline.landform.contours.rings import settle_rings
from pipeline.landform.lines.lines import is_closed, thin_vertices
from pipeline.lattice.grid import Grid, Heights

INDEX_EVERY = 5
"""Every how many contours one is a thick index contour (ISOM 2017-2, 102)."""


def draft_contours(
    surface: Heights,
    grid: Grid,
    /,
    *,
    interval_m: float,
    base_level_m: float,
    vertex_spacing_m: float,
) -> gpd.GeoDataFrame:
    """Contours 101 and index contours 102 of a generalised surface.

    Parameters
    ----------
    surface, grid
        What `pipeline.landform.contours.generalise.generalised_surface` returns.
    base_level_m : float
        Elevation one contour takes.
    vertex_spacing_m : float
        Least distance on the ground between two vertices of a line.

    Returns
    -------
    GeoDataFrame of features with `elevation_m`, whose confidence and evidence are still to be told; open or closed
    LineStrings, higher ground on the left.
    """
    levels = contour_levels(surface, interval_m=interval_m, base_level_m=base_level_m)
    traced, traced_at_m = trace_contours(surface, grid, levels)
    thin = thin_vertices(traced, spacing_m=vertex_spacing_m)
    # Rings of a few cells are gone after thinning; no least size of the standard is that small.
    is_line = np.array([len(line) > 3 or not is_closed(way) for line, way in zip(thin, traced, strict=True)], bool)
    lines, elevation_m = settle_rings(
        [line for line, kept in zip(thin, is_line, strict=True) if kept],
        traced_at_m[is_line],
        surface,
        grid,
        interval_m=interval_m,
        spacing_m=vertex_spacing_m,
    )
    index = is_index(elevation_m, interval_m=interval_m, base_level_m=base_level_m, every=INDEX_EVERY)
    return make_features(
        [shapely.LineString(line) for line in lines],
        crs=grid.crs,
        symbol=["102" if thick else "101" for thick in index],
        confidence=0.0,
        evidence="",
        elevation_m=elevation_m,
    )
