"""Vegetation of the whole area: bands, open land, trees, rides and boundaries, from the summed profiles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from pipeline.features import SUM, join_features, with_sums, without_sums
from pipeline.lattice.grid import Bounds, Grid, Heights
from pipeline.lattice.larger_cells import into_smaller, larger_cells, sum_into
from pipeline.outlines.cutting import cut_to_core
from pipeline.settings import VegetationSettings
from pipeline.vegetation.areas.areas import NOT_SEEN_SYMBOL, draw_areas
from pipeline.vegetation.areas.evidence import AREA_SUMS, Running, describe_areas, measure_areas
from pipeline.vegetation.areas.ground import Ground, look_at_ground
from pipeline.vegetation.areas.kinds import AREA_SYMBOLS, NOT_SEEN, OUTSIDE, cells_of, decide_kinds
from pipeline.vegetation.areas.merging import Kinds
from pipeline.vegetation.areas.mosaic import in_larger_cells, settle_kinds
from pipeline.vegetation.areas.open_land import mean_density, voids
from pipeline.vegetation.areas.owners import owners
from pipeline.vegetation.rides.counts import RIDE_CELL_M, Counts
from pipeline.vegetation.rides.rides import Candidates, draw_rides, ride_candidates
from pipeline.vegetation.running.density import EXTINCTION_RATIO, layer_thickness_m, with_model_error
from pipeline.vegetation.running.runnability import BAND_OF, BAND_SPEEDS, Limits, band_limits, running_speed
from pipeline.vegetation.running.undergrowth import low_part, running_density, view_density
from pipeline.vegetation.stands.boundaries import (
    BOUNDARY_SUMS,
    StandEdge,
    describe_boundaries,
    draw_boundaries,
    find_boundaries,
    measure_boundaries,
)
from pipeline.vegetation.stands.felled import ROUGH, STRIP_SUMS, say_where_felled, strip_beside
from pipeline.vegetation.stands.stand_height import stands_of
from pipeline.vegetation.trees.rows import WAVE_SUMS, draw_rows, measure_rows
from pipeline.vegetation.trees.trees import draw_trees

MARGIN_M = 200.0
"""Margin around a field, metres, whose grids decide about its rim. Density reaches 24 m, the cover around lone trees
and scattered trees 60 m each, an opening 12 m, a boundary 48 m; what is left is for small areas that are given to their
neighbours one after the other."""
_ROW = "_row"
"""Column with the number of the feature that a piece was cut from."""


@dataclass(frozen=True)
class FieldDraft:
    """What `draft_field` makes of one field.

    Attributes
    ----------
    features : areas (those not seen among them), trees and boundaries as `make_features` gives them, cut
        Columns that begin with `pipeline.features.SUM` hold what speaks for a piece; `say_vegetation` makes evidence of
        it when the pieces of all fields are together.
    candidates : places of the field through which a ride may run
    understorey, understorey_error, running_speed : (rows, cols) as in `VegetationDraft`, margin included
    """

    features: gpd.GeoDataFrame
    candidates: Candidates
    understorey: Heights
    understorey_error: Heights
    running_speed: Heights


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
    """Vegetation features and the grids behind them of an area that is drawn in one piece.

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
    density = mean_density(profile["pulses"], np.isnan(bare_earth), cell_m=grid.cell_m)
    field = draft_field(
        profile, bare_earth, canopy_height, grid, settings=settings, core=grid.bounds, pulses_per_m2=density
    )
    found = without_sums(say_vegetation(field.features, settings=settings))
    rides = rides_of(field.candidates, Counts.of(profile, grid), grid.crs, settings=settings)
    is_seen = (found["symbol"] != NOT_SEEN_SYMBOL).to_numpy()
    return VegetationDraft(
        join_features([found[is_seen], rides], grid.crs),
        field.understorey,
        field.understorey_error,
        field.running_speed,
        found[~is_seen].reset_index(drop=True),
    )


def draft_field(
    profile: Mapping[str, Heights],
    bare_earth: Heights,
    canopy_height: Heights,
    grid: Grid,
    /,
    *,
    settings: VegetationSettings,
    core: Bounds,
    pulses_per_m2: float,
) -> FieldDraft:
    """What grows in one field, from the grids of the field and of MARGIN_M around it.

    Parameters
    ----------
    profile, bare_earth, canopy_height : as for `draft_vegetation`
    core : west, south, east, north in metres, the ground that is the field's own
    pulses_per_m2 : mean density of pulses in the whole survey

    Raises
    ------
    ValueError
        If the limits of the bands do not rise.
    """
    limits = limits_of(settings)
    ground, error = _ground(profile, bare_earth, grid, settings, pulses_per_m2)
    larger_kinds, drawn_on, times = in_larger_cells(decide_kinds(ground, limits=limits), grid)
    larger_kinds = settle_kinds(larger_kinds, cell_m=drawn_on.cell_m)
    kinds = np.where(ground.is_outside, np.int16(OUTSIDE), into_smaller(larger_kinds, grid, drawn_on, times))
    found = _Found(
        draw_areas(larger_kinds, drawn_on, smooth_m=settings.edge_smooth_m),
        _trees(kinds, profile, canopy_height, grid, settings),
        find_boundaries(
            canopy_height,
            cells_of(kinds, BAND_OF) | (kinds == NOT_SEEN),
            grid,
            core,
            least_step_m=settings.stand_edge_step_m,
        ),
    )
    low = low_part(
        ground.density,
        ground.view_density,
        running_bottom_m=settings.running_bottom_m,
        visibility_bottom_m=settings.visibility_bottom_m,
        running_top_m=settings.running_top_m,
    )
    features = _measured(found, Running(ground.density, low, error), profile, canopy_height, grid, core)
    larger, times = larger_cells(grid, least_m=RIDE_CELL_M)
    sums = sum_into({name: profile[name] for name in ("clear", "pulses")}, grid, larger, times)
    candidates = ride_candidates(sums["clear"], sums["pulses"], larger, core, min_contrast=settings.ride_min_contrast)
    speed = running_speed(ground.density, limits=limits)
    # Grass and heath of open land slow less than branches: the standard gives 403 the speed of open forest.
    speed = np.where(ground.is_open, np.maximum(speed, np.float32(BAND_SPEEDS[0])), speed)
    return FieldDraft(features, candidates, ground.density, with_model_error(ground.density, low, error), speed)


@dataclass(frozen=True)
class _Found:
    """What was found in a field and its margin, before the cut."""

    areas: gpd.GeoDataFrame
    trees: gpd.GeoDataFrame
    boundaries: list[StandEdge]


def _measured(
    found: _Found,
    running: Running,
    profile: Mapping[str, Heights],
    canopy_height: Heights,
    grid: Grid,
    core: Bounds,
) -> gpd.GeoDataFrame:
    """The pieces of the features that are the field's own, with the sums over them."""
    lines = draw_boundaries(found.boundaries, grid.crs)
    areas, trees, lines = (
        cut_to_core(part, core) for part in (_numbered(found.areas), _numbered(found.trees), _numbered(lines))
    )
    shapes, row = areas.geometry.to_numpy(), areas[_ROW].to_numpy(np.int64)
    whole, is_rough = found.areas.geometry.to_numpy(), areas["symbol"].isin(ROUGH).to_numpy()
    owner = owners(whole, shapes, row, grid, core)
    sums = measure_areas(owner, len(shapes), running, profile)
    areas = with_sums(areas, sums | measure_rows(shapes, owner, canopy_height, grid))
    stands, larger = stands_of(canopy_height, grid)
    owner = owners(whole, shapes[is_rough], row[is_rough], larger, core)
    rough = with_sums(areas[is_rough], strip_beside(whole, owner, row[is_rough], stands, larger))
    steps = measure_boundaries(lines.geometry.to_numpy(), lines[_ROW].to_numpy(np.int64), found.boundaries, core)
    parts = [areas[~is_rough], rough, trees, with_sums(lines, steps)]
    return join_features(parts, grid.crs).drop(columns=_ROW, errors="ignore")


def _numbered(features: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return features.assign(**{_ROW: np.arange(len(features))})


def say_vegetation(features: gpd.GeoDataFrame, /, *, settings: VegetationSettings) -> gpd.GeoDataFrame:
    """The features with evidence and confidence, and orchards and vineyards as such, from the sums over each.

    Parameters
    ----------
    features : of `draft_field`, those of several fields joined, with the columns of sums
    """
    symbol = features["symbol"]
    is_area = symbol.isin(AREA_SYMBOLS).to_numpy()
    is_line = (symbol == "416").to_numpy()
    lines = features[is_line]
    parts = [features[~is_area & ~is_line], _said_of_areas(features[is_area], settings)]
    if len(lines):
        parts.append(describe_boundaries(lines, _sums_of(lines, BOUNDARY_SUMS)))
    return join_features(parts, str(features.crs))


def _said_of_areas(areas: gpd.GeoDataFrame, settings: VegetationSettings) -> gpd.GeoDataFrame:
    if not len(areas):
        return areas
    text, confidence = describe_areas(
        areas["symbol"].tolist(),
        _sums_of(areas, AREA_SUMS),
        limits=limits_of(settings),
        rough_growth_ratio=settings.rough_growth_ratio,
        visibility_bottom_m=settings.visibility_bottom_m,
    )
    drawn = draw_rows(areas.assign(evidence=text, confidence=confidence), _sums_of(areas, WAVE_SUMS))
    return say_where_felled(drawn, _sums_of(areas, STRIP_SUMS))


def _sums_of(features: gpd.GeoDataFrame, names: Sequence[str]) -> dict[str, NDArray[np.float64]]:
    """(n,) each sum by its name; 0 where it was not measured."""
    unmeasured = np.zeros(len(features))
    return {
        name: np.nan_to_num(features[SUM + name].to_numpy(np.float64)) if SUM + name in features else unmeasured
        for name in names
    }


def rides_of(candidates: Candidates, counts: Counts, crs: str, /, *, settings: VegetationSettings) -> gpd.GeoDataFrame:
    """Rides (508) of the whole area as features.

    Parameters
    ----------
    candidates : of all fields, in the order of `Candidates.join`
    """
    return draw_rides(
        candidates,
        counts,
        crs,
        limits=limits_of(settings),
        min_contrast=settings.ride_min_contrast,
        layer_m=layer_thickness_m(settings.running_bottom_m, settings.running_top_m),
        extinction=EXTINCTION_RATIO,
    )


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
    profile: Mapping[str, Heights],
    bare_earth: Heights,
    grid: Grid,
    settings: VegetationSettings,
    pulses_per_m2: float,
) -> tuple[Ground, Heights]:
    """What is known of each cell, and the standard error of the density of the running layer."""
    cell_m, is_outside = grid.cell_m, np.isnan(bare_earth)
    is_void = voids(profile["pulses"], is_outside, cell_m=cell_m, pulses_per_m2=pulses_per_m2)
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


def _trees(
    kinds: Kinds, profile: Mapping[str, Heights], canopy_height: Heights, grid: Grid, settings: VegetationSettings
) -> gpd.GeoDataFrame:
    """Single trees in open land."""
    return draw_trees(
        canopy_height,
        profile["pulses"],
        profile["reached_ground"],
        cells_of(kinds, ("401", "403")),
        grid,
        bush_least_height_m=settings.bush_least_height_m,
        large_tree_height_m=settings.large_tree_height_m,
    )
