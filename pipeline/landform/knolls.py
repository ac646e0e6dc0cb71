"""Small knolls 109 and small elongated knolls 110."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from scipy import ndimage

from pipeline.features import make_features
from pipeline.grid import Grid, Heights, Mask
from pipeline.landform.bumps import (
    Bumps,
    best_of_each_place,
    describe_bumps,
    find_bumps,
    gap_on,
    returns_on,
    shape_confidence,
    taller_than_lumps,
)
from pipeline.landform.lines import encloses_higher, is_closed
from pipeline.landform.seen import sample
from pipeline.settings import LandformSettings


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
        radii_m=settings.knoll_radii_m,
        min_height_m=settings.min_lump_height_m,
        min_contrast=settings.min_lump_contrast,
        min_likeness=settings.min_lump_likeness,
        contrast_reach_m=settings.contrast_reach_m,
        least_height_m=settings.least_bump_m,
        max_unknown_share=settings.max_unknown_share,
    )
    is_high = (lumps.height_m >= settings.min_knoll_height_m) & (lumps.contrast >= settings.min_bump_contrast)
    bumps = best_of_each_place(lumps.where(is_high & (lumps.likeness >= settings.min_knoll_likeness)))
    is_sure = bumps.likeness * bumps.contrast >= settings.min_knoll_evidence
    bumps = bumps.where(is_sure & _is_earth(bumps, settings=settings))
    bumps = bumps.where(_is_seen(bumps, ground_support, grid, settings=settings))
    return bumps.where(_stands_out(bumps, best_of_each_place(lumps), settings=settings))


def _is_earth(bumps: Bumps, /, *, settings: LandformSettings) -> Mask:
    """(n,) bool: lumps as wide as a knoll, with sides that loose earth can hold."""
    is_wide = bumps.radius_m >= settings.widest_boulder_lump_m
    steepest_deg = np.where(is_wide, settings.steepest_wide_earth_deg, settings.steepest_earth_deg)
    return np.asarray((bumps.side_slope_deg <= steepest_deg) & (bumps.radius_m >= settings.min_knoll_radius_m))


def _stands_out(bumps: Bumps, lumps: Bumps, /, *, settings: LandformSettings) -> Mask:
    """(n,) bool: whether a mapper would draw this lump and not only see one lump of many.

    What is very sure a knoll may have a few like it beside it; anything else must tower over all but two of the lumps
    around.
    """
    earth = lumps.where(_is_earth(lumps, settings=settings))
    over_few, over_many = (
        taller_than_lumps(bumps, earth, reach_m=settings.lump_reach_m, n_equal=n_equal) >= settings.min_taller_ratio
        for n_equal in (settings.max_equal_lumps, settings.max_equal_knolls)
    )
    return np.asarray(over_few | (over_many & _is_very_sure(bumps, settings=settings)))


def _is_very_sure(bumps: Bumps, /, *, settings: LandformSettings) -> Mask:
    """(n,) bool: shapes much surer than a knoll must be."""
    least = settings.very_sure_knoll_ratio * settings.min_knoll_evidence
    return np.asarray(bumps.likeness * bumps.contrast >= least)


def _is_seen(bumps: Bumps, ground_support: Heights, grid: Grid, /, *, settings: LandformSettings) -> Mask:
    """(n,) bool: whether enough ground returns lie on each lump to believe that it is one of earth.

    Where the returns on it are as dense as round about, a few do. Where they are sparser a boulder may have been cut
    away, or bushes stand on the knoll: many returns on it, a very sure shape and more width than a boulder leaves
    tell that it is ground.
    """
    gap_m = gap_on(bumps, ground_support, grid, unseen_gap_m=settings.half_seen_gap_m)
    n_returns = returns_on(bumps, gap_m)
    support = np.nan_to_num(ground_support, nan=settings.half_seen_gap_m)
    around = ndimage.uniform_filter(support, max(1, round(2 * max(settings.knoll_radii_m) / grid.cell_m)))
    around_m = np.maximum(np.nan_to_num(sample(around, grid, bumps.places)), grid.cell_m / 2)
    is_dense = gap_m <= settings.max_knoll_gap_ratio * around_m
    is_wide = bumps.radius_m >= settings.widest_boulder_lump_m
    is_ground = _is_very_sure(bumps, settings=settings) & is_wide & (n_returns >= settings.min_covered_knoll_returns)
    return np.asarray((n_returns >= settings.min_bump_returns) & (is_dense | is_ground))


def draft_knolls(
    bare_earth: Heights, ground_support: Heights, seen: Heights, grid: Grid, /, *, settings: LandformSettings
) -> gpd.GeoDataFrame:
    """Knolls as points: 109 where round, 110 with the angle of its long axis where it is elongated.

    Returns
    -------
    GeoDataFrame of features with `height_m`, `width_m` and, for 110, `angle_deg`.
    """
    knolls = find_knolls(bare_earth, ground_support, grid, settings=settings)
    is_long = knolls.elongation >= settings.min_elongation
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


def without_ringed(
    knolls: gpd.GeoDataFrame, lines: gpd.GeoDataFrame, /, *, settings: LandformSettings
) -> gpd.GeoDataFrame:
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
    ringed = (away_m <= foot_m[:, None]) & (radius_m[None, :] <= settings.max_ringed_ratio * foot_m[:, None])
    return knolls[~ringed.any(axis=1)].reset_index(drop=True)
