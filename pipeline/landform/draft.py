"""All landforms of an area: what the mapper finds in brown on the field sheet."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from pipeline.features import join_features, no_features
from pipeline.grid import Grid, Heights
from pipeline.landform.banks import draft_banks
from pipeline.landform.broken_ground import draft_broken_ground
from pipeline.landform.contours import draft_contours
from pipeline.landform.depressions import draft_hollows
from pipeline.landform.form_lines import Contours, draft_form_lines
from pipeline.landform.generalise import coarsen, generalised_surface
from pipeline.landform.gullies import draft_gullies
from pipeline.landform.keep_off import keep_off
from pipeline.landform.knolls import draft_knolls, without_ringed
from pipeline.landform.seen import ground_noise, how_well_seen
from pipeline.landform.slope_lines import draft_slope_lines
from pipeline.landform.walls import draft_walls
from pipeline.settings import LandformSettings


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
        ground_noise(bare_earth, grid, finest_m=settings.noise_finest_m, reach_m=settings.noise_reach_m),
        half_noise_m=settings.half_noise_m,
        half_seen_gap_m=settings.half_seen_gap_m,
        tall_canopy_m=settings.tall_canopy_m,
        canopy_share=settings.canopy_share,
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
    measured = np.where(ground_support <= settings.line_max_gap_m, bare_earth, np.float32(np.nan))
    if not np.isfinite(measured).any():
        return []
    heights, cells = coarsen(measured, grid, cell_m=settings.line_cell_m)
    gullies, walls, broken = (
        draft(heights, cells, seen, grid, settings=settings)
        for draft in (draft_gullies, draft_walls, draft_broken_ground)
    )
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
    points = join_features([without_ringed(knolls, lines, settings=settings), hollows], grid.crs)
    bent = keep_off(lines, points, surface, cells, interval_m=interval_m, scale=scale, settings=settings)
    return join_features([bent, draft_slope_lines(bent, interval_m=interval_m, settings=settings)], grid.crs), points
