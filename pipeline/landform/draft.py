"""All landforms of an area: what the mapper finds in brown on the field sheet."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.features import EITHER_WAY, join_features, no_features
from pipeline.landform.contours.contours import draft_contours
from pipeline.landform.contours.form_lines import Contours, HalfWay, draft_form_lines
from pipeline.landform.contours.generalise import generalised_surface
from pipeline.landform.contours.keep_off import keep_off
from pipeline.landform.contours.limits import ALLOWED_SHIFT_SHARE
from pipeline.landform.contours.slope_lines import draft_slope_lines
from pipeline.landform.lines.line_pieces import measured_pieces, nearest_numbers, put_together, table_of, with_widths
from pipeline.landform.not_seen import draw_not_seen
from pipeline.landform.shapes.banks import draft_banks
from pipeline.landform.shapes.broken_ground import draft_broken_ground
from pipeline.landform.shapes.depressions import draft_hollows
from pipeline.landform.shapes.gullies import draft_gullies
from pipeline.landform.shapes.knolls import draft_knolls, without_ringed
from pipeline.landform.shapes.walls import draft_walls
from pipeline.landform.telling import tell, tell_pieces
from pipeline.lattice.grid import Bounds, EastNorth, Grid, Heights
from pipeline.lattice.larger_cells import coarsen
from pipeline.lattice.sampling import sample
from pipeline.norm.paper import sheet_ground_m
from pipeline.outlines.cutting import cut_to_core
from pipeline.settings import LandformSettings
from pipeline.terrain.doubt import UNSEEN_TRUST, hardly_seen
from pipeline.terrain.seen import ground_noise, how_well_seen, surrounded


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
    core: Bounds | None = None,
    traced: tuple[Heights, Grid] | None = None,
) -> gpd.GeoDataFrame:
    """Contours and landforms of an area, drawn for a sheet of this scale.

    Parameters
    ----------
    bare_earth, ground_support, canopy_height : (rows, cols) float32, metres
        NaN where unknown.
    interval_m : float
        Height between contours.
    scale : int
        10000 for 1:10 000.
    core : west, south, east, north in metres, or None
        The field that is kept, where the rasters hold it and a margin of `MARGIN_M`; all that was drawn otherwise.
    traced : surface and grid that `contour_surface` made of the same bare earth and settings
        It is made here where it is not given.

    Returns
    -------
    GeoDataFrame as `pipeline.features.make_features` makes it, in the CRS of the grid. Lines and areas have columns of
    sums as well, from which `pipeline.landform.telling.tell` tells what is said about a feature joined of several.

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
    unseen = hardly_seen(bare_earth, ground_support, grid)
    seen = how_well_seen(ground_support, canopy_height, ground_noise(bare_earth, grid))
    seen[unseen] *= np.float32(UNSEEN_TRUST)
    shown = np.where(surrounded(ground_support, grid), bare_earth, np.float32(np.nan))
    knolls, hollows = (
        draft(shown, ground_support, seen, grid, min_contrast=settings.min_bump_contrast, min_likeness=min_likeness)
        for draft, min_likeness in (
            (draft_knolls, settings.min_knoll_likeness),
            (draft_hollows, settings.min_hollow_likeness),
        )
    )
    if traced is None:
        traced = contour_surface(bare_earth, grid, interval_m=interval_m, scale=scale, settings=settings)
    lines, points = _draft_lines(
        traced,
        ground_support,
        seen,
        grid,
        knolls,
        hollows,
        interval_m=interval_m,
        scale=scale,
        settings=settings,
    )
    *narrow, areas = _draft_narrow(shown, ground_support, seen, grid, knolls, hollows, settings=settings, core=core)
    pieces = table_of([*lines, *narrow])
    if core is not None:
        pieces, points = cut_to_core(pieces, core), cut_to_core(points, core)
    drawn = join_features([put_together(pieces, either_way=EITHER_WAY), areas], grid.crs)
    told = tell(drawn) if core is None else tell_pieces(drawn)
    return join_features([told, points, draw_not_seen(unseen, grid, core=core)], grid.crs)


MARGIN_M = 200.0
"""Ground around a field, in metres, beyond which nothing changes what is drawn in it. What reaches farthest: a form
line goes around a hill of 100 m, contours 60 m off tell whether it is needed, and calming moves those by no more than
a hair from 40 m off; lumps 30 m off decide about a knoll, and what is usual within 140 m decides about them."""


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
    core: Bounds | None,
) -> list[gpd.GeoDataFrame]:
    """Banks, gullies and walls in pieces, and broken ground, where returns lie near enough to show them."""
    # Far from any return the surface is only stretched across; its edges are no banks.
    measured = np.where(ground_support <= LINE_MAX_GAP_M, bare_earth, np.float32(np.nan))
    if not np.isfinite(measured).any():
        return [no_features(grid.crs)]
    heights, cells = coarsen(measured, grid, cell_m=LINE_CELL_M)
    gullies, walls = (draft(heights, cells, seen, grid) for draft in (draft_gullies, draft_walls))
    broken = draft_broken_ground(heights, cells, seen, grid, min_unevenness_m=settings.min_broken_m, core=core)
    others = join_features([knolls, hollows, with_widths(gullies)], grid.crs)
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
    traced: tuple[Heights, Grid],
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
) -> tuple[list[gpd.GeoDataFrame], gpd.GeoDataFrame]:
    """Pieces of contours, form and slope lines that keep off knolls and hollows; and the knolls and hollows to draw."""
    base_level_m = settings.base_level_m
    vertex_spacing_m = sheet_ground_m(settings.vertex_spacing_mm, scale=scale)
    surface, cells = traced
    contours = draft_contours(
        surface,
        cells,
        interval_m=interval_m,
        base_level_m=base_level_m,
        vertex_spacing_m=vertex_spacing_m,
    )
    form_lines, half_way = draft_form_lines(
        surface,
        cells,
        Contours(list(contours.geometry), contours["elevation_m"].to_numpy()),
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
    drawn = join_features([bent, draft_slope_lines(bent, interval_m=interval_m)], grid.crs)
    return _measured(drawn, half_way, ground_support, seen, grid, interval_m=interval_m), points


def _measured(
    lines: gpd.GeoDataFrame,
    half_way: HalfWay,
    ground_support: Heights,
    seen: Heights,
    grid: Grid,
    /,
    *,
    interval_m: float,
) -> list[gpd.GeoDataFrame]:
    """The lines in pieces with sums of how well they were seen, the gap between returns, and the error they take."""
    errors = {"error": half_way.error_m, "gain": half_way.error_m / (interval_m / 2)}
    error_at = nearest_numbers(half_way.places, errors)
    found = []
    for is_form_line in (False, True):
        own = lines[(lines["symbol"] == "103") == is_form_line]

        def numbers_at(places: EastNorth, is_form_line: bool = is_form_line) -> dict[str, NDArray[np.float64]]:
            numbers = {"seen": np.nan_to_num(sample(seen, grid, places))}
            if is_form_line:
                return numbers | error_at(places)
            gap_m = sample(ground_support, grid, places)
            return numbers | {"gap": np.nan_to_num(gap_m), "gap_known": np.isfinite(gap_m).astype(np.float64)}

        found.append(
            measured_pieces(
                [shapely.get_coordinates(line) for line in own.geometry],
                numbers_at=numbers_at,
                crs=grid.crs,
                symbol=own["symbol"].tolist(),
                evidence=own["evidence"].tolist(),
                elevation_m=own["elevation_m"].to_numpy(),
                angle_deg=own["angle_deg"].to_numpy(),
            )
        )
    return found
