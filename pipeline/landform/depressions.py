"""Small depressions 111 and pits 112."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from pipeline.features import make_features
from pipeline.grid import Grid, Heights
from pipeline.landform.bumps import (
    Bumps,
    best_of_each_place,
    describe_bumps,
    find_bumps,
    gap_on,
    returns_on,
    shape_confidence,
)
from pipeline.landform.seen import sample
from pipeline.settings import LandformSettings


def find_hollows(bare_earth: Heights, ground_support: Heights, grid: Grid, /, *, settings: LandformSettings) -> Bumps:
    """Hollows a few metres across, on level ground and on slopes.

    One stray return below the ground makes a hollow too, and so does a knoll whose top nobody saw; it takes several
    returns at the bottom to believe it.

    Returns
    -------
    Bumps, one a hollow; `height_m` is its depth.
    """
    every_one = find_bumps(
        bare_earth,
        grid,
        upward=False,
        radii_m=settings.hollow_radii_m,
        min_height_m=settings.min_hollow_depth_m,
        min_contrast=settings.min_bump_contrast,
        min_likeness=settings.min_hollow_likeness,
        contrast_reach_m=settings.contrast_reach_m,
        least_height_m=settings.least_bump_m,
        max_unknown_share=settings.max_unknown_share,
    )
    hollows = best_of_each_place(every_one)
    gap_m = gap_on(hollows, ground_support, grid, unseen_gap_m=settings.half_seen_gap_m)
    n_returns = returns_on(hollows, gap_m)
    is_earth = hollows.side_slope_deg <= settings.steepest_hollow_deg
    return hollows.where(is_earth & (n_returns >= settings.min_bump_returns))


def draft_hollows(
    bare_earth: Heights, ground_support: Heights, seen: Heights, grid: Grid, /, *, settings: LandformSettings
) -> gpd.GeoDataFrame:
    """Hollows as points: 112 where the sides are steep and it is at most as wide as a pit may be, else 111.

    Returns
    -------
    GeoDataFrame of features with the depth as `height_m`, and `width_m`.
    """
    hollows = find_hollows(bare_earth, ground_support, grid, settings=settings)
    # Half way down a hollow is as wide as a mapper would pace it; its foot is lost in the ground around.
    is_pit = (hollows.side_slope_deg >= settings.min_pit_side_deg) & (hollows.radius_m <= settings.max_pit_width_m)
    return make_features(
        np.asarray(shapely.points(hollows.places), dtype=object),
        crs=grid.crs,
        symbol=np.where(is_pit, "112", "111").tolist(),
        confidence=shape_confidence(hollows) * np.nan_to_num(sample(seen, grid, hollows.places)),
        evidence=describe_bumps(hollows, "deep"),
        height_m=hollows.height_m,
        width_m=2 * hollows.radius_m,
    )
