"""Small knolls 109 and small elongated knolls 110."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from scipy import ndimage

from pipeline.features import make_features
from pipeline.landform.contours.lines import encloses_higher, is_closed
from pipeline.landform.shapes.bumps import (
    Bumps,
    best_of_each_place,
    describe_bumps,
    find_bumps,
    gap_on,
    returns_on,
    shape_confidence,
    taller_than_lumps,
)
from pipeline.landform.shapes.depressions import HALF_SEEN_GAP_M, MAX_UNKNOWN_SHARE, MIN_BUMP_RETURNS
from pipeline.landform.shapes.gullies import CONTRAST_REACH_M, LEAST_BUMP_M
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.sampling import sample
from pipeline.settings import LandformSettings

KNOLL_RADII_M = (2.0, 3.0, 4.0, 5.0, 6.0, 7.5, 9.0)
"""Sizes of knoll looked for, middle to foot; larger ones have contours of their own (ISOM 101)."""
MIN_KNOLL_HEIGHT_M = 0.85
"""Lowest knoll: 1 m (ISOM 109) less what smoothing takes from a small one."""
MIN_KNOLL_EVIDENCE = 1.8
"""Likeness times contrast: what just passes in both shape and size is a swell of the slope."""
VERY_SURE_KNOLL_RATIO = 2.0
"""Shapes with this many times that evidence are very sure: bushes may stand on them and equals beside them."""
MAX_RINGED_RATIO = 1.5
"""A closed line up to this many times as wide as a knoll shows it already; wider ones show a hill."""
MIN_LUMP_HEIGHT_M = 0.4
"""Lowest lump a runner sees beside a knoll: half the lowest knoll (common practice)."""
MIN_LUMP_LIKENESS = 0.4
"""Share of its shape one rounded bump must explain for a place to count as a lump."""
MIN_LUMP_CONTRAST = 2.0
"""Deviations from the usual unevenness from which a place counts as a lump."""
LUMP_REACH_M = 30.0
"""Lumps so near are seen together with a knoll: a few symbols' widths (2 mm)."""
MAX_EQUAL_LUMPS = 2
"""Lumps within that reach that may be as high as a knoll; more make restless ground."""
MAX_EQUAL_KNOLLS = 6
"""The same for what is surely a knoll: a group of more is broken ground (113)."""
MIN_TALLER_RATIO = 1.5
"""Height of a knoll over that of all other lumps around it (common practice)."""
MIN_KNOLL_RADIUS_M = 2.5
"""Smaller lumps are boulders, stumps or brush that passed for ground."""
WIDEST_BOULDER_LUMP_M = 5.0
"""Radius of the widest lump a boulder makes: few are 5 m wide, what the filter leaves of one twice that."""
STEEPEST_EARTH_DEG = 33.0
"""Lumps with steeper sides are rock or wood: loose earth rests at 30 to 35 degrees (common practice)."""
STEEPEST_WIDE_EARTH_DEG = 35.0
"""The same for lumps wider than any boulder: all that loose earth can hold."""
MAX_KNOLL_GAP_RATIO = 1.4
"""Gap between ground returns on a knoll over that round about; above it the lump may be a boulder that was cut away."""
MIN_COVERED_KNOLL_RETURNS = 8.0
"""Ground returns on a knoll where they are sparser than round about: a boulder of this width that was cut away leaves
about five at its sides (measured on made scenes), bushes on a knoll let more through."""
MIN_ELONGATION = 1.6
"""Length over width from which a knoll is elongated: the symbol 110 is 2 to 1."""


def find_knolls(bare_earth: Heights, ground_support: Heights, grid: Grid, /, *, settings: LandformSettings) -> Bumps:
    """Small hills of earth that stand out from the ground around, on level ground and on slopes.

    Lumps smaller than a knoll, or with sides steeper than earth stands, are boulders and brush that the ground filter
    kept. They are looked for all the same, so that no knoll is fitted over them. A lump whose middle has fewer ground
    returns than the ground around is what is left of a boulder that the filter cut away. On restless ground, where lump
    stands beside lump, only those that tower over the others are knolls to a runner.

    Returns
    -------
    Bumps, one a knoll.
    """
    lumps = find_bumps(
        bare_earth,
        grid,
        upward=True,
        radii_m=KNOLL_RADII_M,
        min_height_m=MIN_LUMP_HEIGHT_M,
        min_contrast=MIN_LUMP_CONTRAST,
        min_likeness=MIN_LUMP_LIKENESS,
        contrast_reach_m=CONTRAST_REACH_M,
        least_height_m=LEAST_BUMP_M,
        max_unknown_share=MAX_UNKNOWN_SHARE,
    )
    is_high = (lumps.height_m >= MIN_KNOLL_HEIGHT_M) & (lumps.contrast >= settings.min_bump_contrast)
    bumps = best_of_each_place(lumps.where(is_high & (lumps.likeness >= settings.min_knoll_likeness)))
    is_sure = bumps.likeness * bumps.contrast >= MIN_KNOLL_EVIDENCE
    bumps = bumps.where(is_sure & _is_earth(bumps))
    bumps = bumps.where(_is_seen(bumps, ground_support, grid))
    return bumps.where(_stands_out(bumps, best_of_each_place(lumps)))


def _is_earth(bumps: Bumps, /) -> Mask:
    """(n,) bool: lumps as wide as a knoll, with sides that loose earth can hold."""
    is_wide = bumps.radius_m >= WIDEST_BOULDER_LUMP_M
    steepest_deg = np.where(is_wide, STEEPEST_WIDE_EARTH_DEG, STEEPEST_EARTH_DEG)
    return np.asarray((bumps.side_slope_deg <= steepest_deg) & (bumps.radius_m >= MIN_KNOLL_RADIUS_M))


def _stands_out(bumps: Bumps, lumps: Bumps, /) -> Mask:
    """(n,) bool: whether a mapper would draw this lump and not only see one lump of many.

    What is very sure a knoll may have a few like it beside it; anything else must tower over all but two of the lumps
    around.
    """
    earth = lumps.where(_is_earth(lumps))
    over_few, over_many = (
        taller_than_lumps(bumps, earth, reach_m=LUMP_REACH_M, n_equal=n_equal) >= MIN_TALLER_RATIO
        for n_equal in (MAX_EQUAL_LUMPS, MAX_EQUAL_KNOLLS)
    )
    return np.asarray(over_few | (over_many & _is_very_sure(bumps)))


def _is_very_sure(bumps: Bumps, /) -> Mask:
    """(n,) bool: shapes much surer than a knoll must be."""
    least = VERY_SURE_KNOLL_RATIO * MIN_KNOLL_EVIDENCE
    return np.asarray(bumps.likeness * bumps.contrast >= least)


def _is_seen(bumps: Bumps, ground_support: Heights, grid: Grid, /) -> Mask:
    """(n,) bool: whether enough ground returns lie on each lump to believe that it is one of earth.

    Where the returns on it are as dense as round about, a few do. Where they are sparser a boulder may have been cut
    away, or bushes stand on the knoll: many returns on it, a very sure shape and more width than a boulder leaves
    tell that it is ground.
    """
    gap_m = gap_on(bumps, ground_support, grid, unseen_gap_m=HALF_SEEN_GAP_M)
    n_returns = returns_on(bumps, gap_m)
    support = np.nan_to_num(ground_support, nan=HALF_SEEN_GAP_M)
    around = ndimage.uniform_filter(support, max(1, round(2 * max(KNOLL_RADII_M) / grid.cell_m)))
    around_m = np.maximum(np.nan_to_num(sample(around, grid, bumps.places)), grid.cell_m / 2)
    is_dense = gap_m <= MAX_KNOLL_GAP_RATIO * around_m
    is_wide = bumps.radius_m >= WIDEST_BOULDER_LUMP_M
    is_ground = _is_very_sure(bumps) & is_wide & (n_returns >= MIN_COVERED_KNOLL_RETURNS)
    return np.asarray((n_returns >= MIN_BUMP_RETURNS) & (is_dense | is_ground))


def draft_knolls(
    bare_earth: Heights, ground_support: Heights, seen: Heights, grid: Grid, /, *, settings: LandformSettings
) -> gpd.GeoDataFrame:
    """Knolls as points: 109 where round, 110 with the angle of its long axis where it is elongated.

    Returns
    -------
    GeoDataFrame of features with `height_m`, `width_m` and, for 110, `angle_deg`.
    """
    knolls = find_knolls(bare_earth, ground_support, grid, settings=settings)
    is_long = knolls.elongation >= MIN_ELONGATION
    return make_features(
        np.asarray(shapely.points(knolls.places), dtype=object),
        crs=grid.crs,
        symbol=np.where(is_long, "110", "109").tolist(),
        confidence=shape_confidence(knolls) * np.nan_to_num(sample(seen, grid, knolls.places)),
        evidence=describe_bumps(knolls, "high"),
        height_m=knolls.height_m,
        width_m=2 * knolls.radius_m,
        angle_deg=np.where(is_long, knolls.angle_deg, np.nan),
    )


def without_ringed(knolls: gpd.GeoDataFrame, lines: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """The knolls that no closed contour or form line of their own size shows already.

    Parameters
    ----------
    knolls : GeoDataFrame
        Features 109 and 110 with `width_m`.
    lines : GeoDataFrame
        Contours and form lines, higher ground on the left.
    """
    rings = [np.asarray(line.coords)[:, :2] for line in lines.geometry]
    hills = [shapely.Polygon(ring) for ring in rings if is_closed(ring) and encloses_higher(ring)]
    if not hills or not len(knolls):
        return knolls
    middles = shapely.centroid(np.array(hills, dtype=object))
    radius_m = np.sqrt(shapely.area(np.array(hills, dtype=object)) / np.pi)
    foot_m = knolls["width_m"].to_numpy() / 2
    away_m = shapely.distance(np.asarray(knolls.geometry)[:, None], middles[None, :])
    ringed = (away_m <= foot_m[:, None]) & (radius_m[None, :] <= MAX_RINGED_RATIO * foot_m[:, None])
    return knolls[~ringed.any(axis=1)].reset_index(drop=True)
