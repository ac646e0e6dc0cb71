"""All landforms of an area: what the mapper finds in brown on the field sheet."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from pipeline.features import join_features, no_features
from pipeline.landform.contours.contours import draft_contours
from pipeline.landform.contours.form_lines import Contours, draft_form_lines
from pipeline.landform.contours.generalise import generalised_surface
from pipeline.landform.contours.keep_off import keep_off
from pipeline.landform.contours.slope_lines import draft_slope_lines
from pipeline.landform.shapes.banks import draft_banks
from pipeline.landform.shapes.broken_ground import draft_broken_ground
from pipeline.landform.shapes.depressions import HALF_SEEN_GAP_M, draft_hollows
from pipeline.landform.shapes.gullies import draft_gullies
from pipeline.landform.shapes.knolls import draft_knolls, without_ringed
from pipeline.landform.shapes.walls import draft_walls
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import coarsen
from pipeline.settings import LandformSettings
from pipeline.terrain.seen import ground_noise, how_well_seen

HALF_NOISE_M = 0.5
"""Noise of the bare earth at which half the confidence is gone: half of what makes the lowest knoll."""
NOISE_FINEST_M = 4.0
"""Smaller shapes are noise: the smallest bend (ISOM 101)."""
NOISE_REACH_M = 10.0
"""Distance within which noise is taken together: the size of a knoll."""
TALL_CANOPY_M = 20.0
"""Trees from this height count fully as cover."""
CANOPY_SHARE = 0.1
"""Confidence lost under tall trees, where the ground filter itself is less sure."""
LINE_CELL_M = 1.0
"""Cell on which banks, walls and gullies are sought; they are 3 m wide and more."""
LINE_MAX_GAP_M = 3.0
"""Distance to the nearest ground return beyond which none are sought: as wide as the narrowest."""


def draft_landforms(
    bare_earth: Heights,
    ground_support: Heights,
    canopy_height: Heights,
    grid: Grid,
    /,
    *,
    interval_m: float,
    scale: int,
    settings: LandformSettings,
) -> gpd.GeoDataFrame:
    """Contours and landforms of an area, drawn for a sheet of this scale.

    Parameters
    ----------
    bare_earth, ground_support, canopy_height : (rows, cols) float32, metres
        NaN where unknown. The whole area at once: features do not depend on how it was cut into tiles.
    interval_m : float
        Height between contours.
    scale : int
        10000 for 1:10 000.

    Returns
    -------
    GeoDataFrame as `pipeline.features.make_features` makes it, in the CRS of the grid.

    Raises
    ------
    ValueError
        If a raster does not fit the grid.
    """
    for name, raster in (("bare_earth", bare_earth), ("ground_support", ground_support), ("canopy", canopy_height)):
        if raster.shape != grid.shape:
            raise ValueError(f"{name} has the shape {raster.shape}, the grid {grid.shape}")
    if min(grid.shape) < 2 or not np.isfinite(bare_earth).any():
        return no_features(grid.crs)
    seen = how_well_seen(
        ground_support,
        canopy_height,
        ground_noise(bare_earth, grid, finest_m=NOISE_FINEST_M, reach_m=NOISE_REACH_M),
        half_noise_m=HALF_NOISE_M,
        half_seen_gap_m=HALF_SEEN_GAP_M,
        tall_canopy_m=TALL_CANOPY_M,
        canopy_share=CANOPY_SHARE,
    )
    knolls = draft_knolls(bare_earth, ground_support, seen, grid, settings=settings)
    hollows = draft_hollows(bare_earth, ground_support, seen, grid, settings=settings)
    lines, points = _draft_lines(
        bare_earth,
        ground_support,
        seen,
        grid,
        knolls,
        hollows,
        interval_m=interval_m,
        scale=scale,
        settings=settings,
    )
    narrow = _draft_narrow(bare_earth, ground_support, seen, grid, knolls, hollows, settings=settings)
    return join_features([lines, points, *narrow], grid.crs)


def _draft_narrow(
    bare_earth: Heights,
    ground_support: Heights,
    seen: Heights,
    grid: Grid,
    knolls: gpd.GeoDataFrame,
    hollows: gpd.GeoDataFrame,
    /,
    *,
    settings: LandformSettings,
) -> list[gpd.GeoDataFrame]:
    """Banks, gullies, walls and broken ground, where returns lie near enough to show them."""
    # Far from any return the surface is only stretched across; its edges are no banks.
    measured = np.where(ground_support <= LINE_MAX_GAP_M, bare_earth, np.float32(np.nan))
    if not np.isfinite(measured).any():
        return []
    heights, cells = coarsen(measured, grid, cell_m=LINE_CELL_M)
    gullies, walls = (draft(heights, cells, seen, grid) for draft in (draft_gullies, draft_walls))
    broken = draft_broken_ground(heights, cells, seen, grid, settings=settings)
    others = join_features([knolls, hollows, gullies], grid.crs)
    return [draft_banks(heights, cells, seen, grid, others, settings=settings), gullies, walls, broken]


def _draft_lines(
    bare_earth: Heights,
    ground_support: Heights,
    seen: Heights,
    grid: Grid,
    knolls: gpd.GeoDataFrame,
    hollows: gpd.GeoDataFrame,
    /,
    *,
    interval_m: float,
    scale: int,
    settings: LandformSettings,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Contours, form and slope lines that keep off knolls and hollows; and the knolls and hollows left to draw."""
    surface, cells = generalised_surface(bare_earth, grid, interval_m=interval_m, scale=scale, settings=settings)
    contours = draft_contours(
        surface, cells, seen, ground_support, grid, interval_m=interval_m, scale=scale, settings=settings
    )
    between = Contours(list(contours.geometry), contours["elevation_m"].to_numpy())
    form_lines = draft_form_lines(
        surface, cells, between, seen, grid, interval_m=interval_m, scale=scale, settings=settings
    )
    lines = join_features([contours, form_lines], grid.crs)
    points = join_features([without_ringed(knolls, lines), hollows], grid.crs)
    bent = keep_off(lines, points, surface, cells, interval_m=interval_m, scale=scale, settings=settings)
    return join_features([bent, draft_slope_lines(bent, interval_m=interval_m)], grid.crs), points
