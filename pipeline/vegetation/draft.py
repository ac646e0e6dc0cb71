"""Vegetation of the whole area: bands, open land, trees, rides and boundaries, from the summed profiles."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np

from pipeline.features import join_features
from pipeline.lattice.grid import Grid, Heights
from pipeline.settings import VegetationSettings
from pipeline.vegetation.areas.areas import draw_areas
from pipeline.vegetation.areas.ground import Ground, look_at_ground
from pipeline.vegetation.areas.kinds import NOT_SEEN, cells_of, decide_kinds, settle_kinds
from pipeline.vegetation.areas.merging import Kinds
from pipeline.vegetation.areas.open_land import voids
from pipeline.vegetation.rides.rides import draw_rides
from pipeline.vegetation.running.density import EXTINCTION_RATIO, layer_thickness_m
from pipeline.vegetation.running.runnability import BAND_OF, BAND_SPEEDS, Limits, band_limits, running_speed
from pipeline.vegetation.running.undergrowth import running_density, view_density
from pipeline.vegetation.stands.boundaries import draw_boundaries
from pipeline.vegetation.stands.felled import say_where_felled
from pipeline.vegetation.trees.rows import draw_rows
from pipeline.vegetation.trees.trees import draw_trees


@dataclass(frozen=True)
class VegetationDraft:
    """What `draft_vegetation` makes.

    Attributes
    ----------
    features : GeoDataFrame of `make_features`
    understorey : (rows, cols) plant-area density of the running layer, m2/m3; NaN where not seen
    understorey_error : (rows, cols) its standard error, m2/m3
    running_speed : (rows, cols) share of free running, 0..1; NaN where not seen
    not_seen : GeoDataFrame of areas where too few pulses reach the running layer; the standard has no symbol for
        them, but they must not pass for white forest
    """

    features: gpd.GeoDataFrame
    understorey: Heights
    understorey_error: Heights
    running_speed: Heights
    not_seen: gpd.GeoDataFrame


def draft_vegetation(
    profile: Mapping[str, Heights],
    bare_earth: Heights,
    canopy_height: Heights,
    grid: Grid,
    /,
    *,
    settings: VegetationSettings,
) -> VegetationDraft:
    """Vegetation features and the grids behind them, for the whole area at once.

    Sizes on the ground are those of the standard's 1:15 000 at every scale.

    Parameters
    ----------
    profile : grids of `pipeline.terrain.profile.profile_grids`, mosaicked
    bare_earth, canopy_height : (rows, cols) metres, NaN where unknown

    Raises
    ------
    ValueError
        If the limits of the bands do not rise.
    """
    limits = limits_of(settings)
    ground, error = _ground(profile, bare_earth, grid, settings)
    kinds = settle_kinds(decide_kinds(ground, limits=limits), cell_m=grid.cell_m)
    areas, not_seen = draw_areas(
        kinds,
        ground.density,
        error,
        profile,
        grid,
        limits=limits,
        rough_growth_ratio=settings.rough_growth_ratio,
        visibility_bottom_m=settings.visibility_bottom_m,
        smooth_m=settings.edge_smooth_m,
    )
    areas = say_where_felled(draw_rows(areas, canopy_height, grid), canopy_height, grid)
    rest = _trees_and_lines(kinds, profile, canopy_height, grid, limits, settings)
    speed = running_speed(ground.density, limits=limits)
    # Grass and heath of open land slow less than branches: the standard gives 403 the speed of open forest.
    speed = np.where(ground.is_open, np.maximum(speed, np.float32(BAND_SPEEDS[0])), speed)
    return VegetationDraft(join_features([areas, *rest], grid.crs), ground.density, error, speed, not_seen)


def limits_of(settings: VegetationSettings, /) -> Limits:
    """Densities (m2/m3) where 406, 408 and 410 begin by these settings.

    Raises
    ------
    ValueError
        If they do not rise.
    """
    return band_limits(
        slow_from_m2_per_m3=settings.slow_from_m2_per_m3,
        walk_from_m2_per_m3=settings.walk_from_m2_per_m3,
        fight_from_m2_per_m3=settings.fight_from_m2_per_m3,
    )


def _ground(
    profile: Mapping[str, Heights], bare_earth: Heights, grid: Grid, settings: VegetationSettings
) -> tuple[Ground, Heights]:
    """What is known of each cell, and the standard error of the density of the running layer."""
    cell_m, is_outside = grid.cell_m, np.isnan(bare_earth)
    is_void = voids(profile["pulses"], is_outside, cell_m=cell_m)
    both = running_density(
        profile,
        cell_m=cell_m,
        running_bottom_m=settings.running_bottom_m,
        running_top_m=settings.running_top_m,
        window_m=settings.density_window_m,
        extinction=EXTINCTION_RATIO,
    )
    density, error = (np.where(is_void, np.float32(np.nan), values) for values in both)
    view = view_density(
        profile,
        cell_m=cell_m,
        visibility_bottom_m=settings.visibility_bottom_m,
        running_top_m=settings.running_top_m,
        extinction=EXTINCTION_RATIO,
    )
    ground = look_at_ground(
        profile,
        density,
        view,
        is_outside,
        is_void,
        cell_m=cell_m,
        open_max_cover_ratio=settings.open_max_cover_ratio,
        open_radius_m=settings.open_radius_m,
        rough_growth_ratio=settings.rough_growth_ratio,
    )
    return ground, error


def _trees_and_lines(
    kinds: Kinds,
    profile: Mapping[str, Heights],
    canopy_height: Heights,
    grid: Grid,
    limits: Limits,
    settings: VegetationSettings,
) -> list[gpd.GeoDataFrame]:
    """Single trees, rides, and boundaries between stands."""
    trees = draw_trees(
        canopy_height,
        profile["pulses"],
        profile["reached_ground"],
        cells_of(kinds, ("401", "403")),
        grid,
        bush_least_height_m=settings.bush_least_height_m,
        large_tree_height_m=settings.large_tree_height_m,
    )
    rides = draw_rides(
        profile,
        grid,
        limits=limits,
        min_contrast=settings.ride_min_contrast,
        layer_m=layer_thickness_m(settings.running_bottom_m, settings.running_top_m),
        extinction=EXTINCTION_RATIO,
    )
    is_forest = cells_of(kinds, BAND_OF) | (kinds == NOT_SEEN)
    edges = draw_boundaries(canopy_height, is_forest, grid, least_step_m=settings.stand_edge_step_m)
    return [trees, rides, edges]
