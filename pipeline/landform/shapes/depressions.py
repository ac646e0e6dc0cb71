"""Small depressions 111 and pits 112."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from pipeline.features import make_features
from pipeline.landform.shapes.bumps import (
    Bumps,
    best_of_each_place,
    describe_bumps,
    find_bumps,
    gap_on,
    returns_on,
    shape_confidence,
)
from pipeline.landform.shapes.gullies import CONTRAST_REACH_M, LEAST_BUMP_M
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.sampling import sample
from pipeline.settings import LandformSettings

HALF_SEEN_GAP_M = 4.0
"""Distance to the nearest ground return at which half the confidence is gone: the smallest bend."""
HOLLOW_RADII_M = (1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0)
"""Sizes of hollow looked for, middle to rim; larger ones have contours of their own."""
MIN_HOLLOW_DEPTH_M = 0.75
"""Shallowest hollow: 1 m (ISOM 111, 112) less what smoothing fills of a small one."""
STEEPEST_HOLLOW_DEG = 55.0
"""Hollows with steeper sides are returns below the ground: earth holds 50 degrees with roots in it."""
MIN_PIT_SIDE_DEG = 30.0
"""Hollows with steeper sides are pits (112), gentler ones depressions (111)."""
MAX_PIT_WIDTH_M = 5.0
"""Widest pit half way down (ISOM 112)."""
MIN_BUMP_RETURNS = 3.0
"""Ground returns that must lie on a knoll or in a hollow: fewer may be stray ones."""
MAX_UNKNOWN_SHARE = 0.25
"""Share of the ground around a knoll or hollow that may be unknown: with more its foot is a guess."""


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
        radii_m=HOLLOW_RADII_M,
        min_height_m=MIN_HOLLOW_DEPTH_M,
        min_contrast=settings.min_bump_contrast,
        min_likeness=settings.min_hollow_likeness,
        contrast_reach_m=CONTRAST_REACH_M,
        least_height_m=LEAST_BUMP_M,
        max_unknown_share=MAX_UNKNOWN_SHARE,
    )
    hollows = best_of_each_place(every_one)
    gap_m = gap_on(hollows, ground_support, grid, unseen_gap_m=HALF_SEEN_GAP_M)
    n_returns = returns_on(hollows, gap_m)
    is_earth = hollows.side_slope_deg <= STEEPEST_HOLLOW_DEG
    return hollows.where(is_earth & (n_returns >= MIN_BUMP_RETURNS))


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
    is_pit = (hollows.side_slope_deg >= MIN_PIT_SIDE_DEG) & (hollows.radius_m <= MAX_PIT_WIDTH_M)
    return make_features(
        np.asarray(shapely.points(hollows.places), dtype=object),
        crs=grid.crs,
        symbol=np.where(is_pit, "112", "111").tolist(),
        confidence=shape_confidence(hollows) * np.nan_to_num(sample(seen, grid, hollows.places)),
        evidence=describe_bumps(hollows, "deep"),
        height_m=hollows.height_m,
        width_m=2 * hollows.radius_m,
    )
