"""Areas of forest and open land as features of the draft."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd

from pipeline.features import make_features
from pipeline.lattice.grid import Grid, Heights
from pipeline.vegetation.areas.evidence import describe_areas
from pipeline.vegetation.areas.kinds import AREA_SYMBOLS, MIN_AREA_OF_KIND_M2, NOT_SEEN
from pipeline.vegetation.areas.merging import Kinds
from pipeline.vegetation.areas.outlines import polygons_of
from pipeline.vegetation.running.density import LEAST_PULSES
from pipeline.vegetation.running.runnability import Limits

NOT_SEEN_SYMBOL = "600.1"
"""Our own number for ground of which the survey says nothing: it is neither white nor green."""


def draw_areas(
    kinds: Kinds,
    density: Heights,
    error: Heights,
    profile: Mapping[str, Heights],
    grid: Grid,
    /,
    *,
    limits: Limits,
    rough_growth_ratio: float,
    visibility_bottom_m: float,
    smooth_m: float,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Areas as features, and beside them those not seen, of confidence 0. White forest is paper: it is not drawn.

    Parameters
    ----------
    kinds : (rows, cols) of `pipeline.vegetation.areas.kinds.settle_kinds`
    density, error : (rows, cols) of the running layer, m2/m3
    profile : grids of `pipeline.terrain.profile.profile_grids`
    limits : densities (m2/m3) where 406, 408 and 410 begin
    rough_growth_ratio : share of pulses that meet grass or heath from which open land is rough
    visibility_bottom_m : height above ground from which growth hides the view
    smooth_m : how far edges may be moved to be smooth
    """
    polygons, kind = polygons_of(kinds, grid, smooth_m=smooth_m, min_area_m2=MIN_AREA_OF_KIND_M2)
    drawn = (kind != AREA_SYMBOLS.index("405")) & (kind != NOT_SEEN)
    text, confidence = describe_areas(
        polygons[drawn],
        kind[drawn],
        density,
        error,
        profile,
        grid,
        limits=limits,
        rough_growth_ratio=rough_growth_ratio,
        visibility_bottom_m=visibility_bottom_m,
    )
    areas = make_features(
        polygons[drawn],
        crs=grid.crs,
        symbol=[AREA_SYMBOLS[k] for k in kind[drawn]],
        confidence=confidence,
        evidence=text,
    )
    not_seen = make_features(
        polygons[kind == NOT_SEEN],
        crs=grid.crs,
        symbol=NOT_SEEN_SYMBOL,
        confidence=0.0,
        evidence=f"fewer than {LEAST_PULSES:g} pulses reach the running layer",
    )
    return areas, not_seen
