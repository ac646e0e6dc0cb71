"""Small knolls 109 and small elongated knolls 110."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from scipy import ndimage

from pipeline.features import make_features
from pipeline.grid import Grid, Heights, Mask
from pipeline.landform.bumps import Bumps, describe_bumps, find_bumps, gap_on, returns_on, shape_confidence
from pipeline.landform.lines import encloses_higher, is_closed
from pipeline.landform.seen import sample
from pipeline.settings import LandformSettings


def find_knolls(bare_earth: Heights, ground_support: Heights, grid: Grid, /, *, settings: LandformSettings) -> Bumps:
    """Small hills of earth that stand out from the ground around, on level ground and on slopes.

    Lumps smaller than a knoll, or with sides steeper than earth stands, are boulders and brush that the ground filter
    kept. They are looked for all the same, so that no knoll is fitted over them. A lump whose middle has fewer ground
    returns than the ground around is what is left of a boulder that the filter cut away.

    Returns
    -------
    Bumps, one a knoll.
    """
    bumps = find_bumps(
        bare_earth,
        grid,
        upward=True,
        radii_m=settings.knoll_radii_m,
        min_height_m=settings.min_knoll_height_m,
        min_contrast=settings.min_bump_contrast,
        min_likeness=settings.min_knoll_likeness,
        contrast_reach_m=settings.contrast_reach_m,
        least_height_m=settings.least_bump_m,
    )
    is_wide = bumps.radius_m >= settings.widest_boulder_lump_m
    steepest_deg = np.where(is_wide, settings.steepest_wide_earth_deg, settings.steepest_earth_deg)
    is_earth = bumps.side_slope_deg <= steepest_deg
    is_large = bumps.radius_m >= settings.min_knoll_radius_m
    is_sure = bumps.likeness * bumps.contrast >= settings.min_knoll_evidence
    return bumps.where(is_earth & is_large & is_sure & _is_seen(bumps, ground_support, grid, settings=settings))


def _is_seen(bumps: Bumps, ground_support: Heights, grid: Grid, /, *, settings: LandformSettings) -> Mask:
    """(n,) bool: whether enough ground returns lie on each lump to believe that it is one of earth.

    Where the returns on it are as dense as round about, a few do. Where they are sparser a boulder may have been cut
    away, or bushes stand on the knoll: many returns on it, a shape twice as sure and more width than a boulder leaves
    tell that it is ground.
    """
    gap_m = gap_on(bumps, ground_support, grid, unseen_gap_m=settings.half_seen_gap_m)
    n_returns = returns_on(bumps, gap_m)
    support = np.nan_to_num(ground_support, nan=settings.half_seen_gap_m)
    around = ndimage.uniform_filter(support, max(1, round(2 * max(settings.knoll_radii_m) / grid.cell_m)))
    around_m = np.maximum(np.nan_to_num(sample(around, grid, bumps.places)), grid.cell_m / 2)
    is_dense = gap_m <= settings.max_knoll_gap_ratio * around_m
    is_very_sure = bumps.likeness * bumps.contrast >= 2 * settings.min_knoll_evidence
    is_wide = bumps.radius_m >= settings.widest_boulder_lump_m
    is_ground = is_very_sure & is_wide & (n_returns >= settings.min_covered_knoll_returns)
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
    ringed = (away_m <= foot_m[:, None]) & (radius_m[None, :] <= 1.5 * foot_m[:, None])
    return knolls[~ringed.any(axis=1)].reset_index(drop=True)
