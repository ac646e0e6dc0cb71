"""All landforms of an area: what the mapper finds in brown on the field sheet."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from pipeline.features import join_features, no_features
from pipeline.landform.contours.contours import draft_contours
from pipeline.landform.contours.form_lines import Contours, draft_form_lines
from pipeline.landform.contours.generalise import generalised_surface
from pipeline.landform.contours.keep_off import keep_off
from pipeline.landform.contours.limits import ALLOWED_SHIFT_SHARE
from pipeline.landform.contours.slope_lines import draft_slope_lines
from pipeline.landform.shapes.banks import draft_banks
from pipeline.landform.shapes.broken_ground import draft_broken_ground
from pipeline.landform.shapes.depressions import draft_hollows
from pipeline.landform.shapes.gullies import draft_gullies
from pipeline.landform.shapes.knolls import draft_knolls, without_ringed
from pipeline.landform.shapes.walls import draft_walls
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import coarsen
from pipeline.norm.paper import sheet_ground_m
from pipeline.settings import LandformSettings
from pipeline.terrain.seen import ground_noise, how_well_seen


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
    seen = how_well_seen(ground_support, canopy_height, ground_noise(bare_earth, grid))
    knolls, hollows = (
        draft(
            bare_earth, ground_support, seen, grid, min_contrast=settings.min_bump_contrast, min_likeness=min_likeness
        )
        for draft, min_likeness in (
            (draft_knolls, settings.min_knoll_likeness),
            (draft_hollows, settings.min_hollow_likeness),
        )
    )
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


LINE_CELL_M = 1.0
"""Cell on which banks, walls, gullies and broken ground are sought; none is narrower than 3 m (our choice)."""
LINE_MAX_GAP_M = 3.0
"""Distance to the nearest ground return beyond which none of these is sought: the width of the narrowest (our
choice)."""


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
    broken = draft_broken_ground(heights, cells, seen, grid, min_unevenness_m=settings.min_broken_m)
    others = join_features([knolls, hollows, gullies], grid.crs)
    banks = draft_banks(heights, cells, seen, grid, others, min_slope_deg=settings.min_bank_slope_deg)
    return [banks, gullies, walls, broken]


def contour_surface(
    bare_earth: Heights, grid: Grid, /, *, interval_m: float, scale: int, settings: LandformSettings
) -> tuple[Heights, Grid]:
    """The surface that contours are traced on, and its grid, as `generalised_surface` makes it from the settings."""
    return generalised_surface(
        bare_earth,
        grid,
        interval_m=interval_m,
        base_level_m=settings.base_level_m,
        smoothing_m=settings.contour_smoothing_m,
        calm_share=settings.calm_share,
        vertex_spacing_m=sheet_ground_m(settings.vertex_spacing_mm, scale=scale),
    )


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
    base_level_m = settings.base_level_m
    vertex_spacing_m = sheet_ground_m(settings.vertex_spacing_mm, scale=scale)
    surface, cells = contour_surface(bare_earth, grid, interval_m=interval_m, scale=scale, settings=settings)
    contours = draft_contours(
        surface,
        cells,
        seen,
        ground_support,
        grid,
        interval_m=interval_m,
        base_level_m=base_level_m,
        vertex_spacing_m=vertex_spacing_m,
    )
    form_lines = draft_form_lines(
        surface,
        cells,
        Contours(list(contours.geometry), contours["elevation_m"].to_numpy()),
        seen,
        grid,
        interval_m=interval_m,
        base_level_m=base_level_m,
        min_error_m=settings.form_line_min_error_share * interval_m,
        vertex_spacing_m=vertex_spacing_m,
    )
    lines = join_features([contours, form_lines], grid.crs)
    points = join_features([without_ringed(knolls, lines), hollows], grid.crs)
    # Calming has used up a part of what a contour may lie off the ground; bending may use the rest.
    max_shift_m = (ALLOWED_SHIFT_SHARE - settings.calm_share) * interval_m
    bent = keep_off(lines, points, surface, cells, max_shift_m=max_shift_m, vertex_spacing_m=vertex_spacing_m)
    return join_features([bent, draft_slope_lines(bent, interval_m=interval_m)], grid.crs), points
