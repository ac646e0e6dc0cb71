"""Boulders from the returns themselves: lumps that are compact, opaque, hard-edged and solid."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.features import make_features, no_features
from pipeline.grid import Grid
from pipeline.points.cloud import Cloud
from pipeline.rock.confidence import boulder_confidence, describe
from pipeline.rock.evidence import Evidence, weigh_lumps
from pipeline.rock.lumps import Floats, Lumps, find_lumps, low_returns
from pipeline.settings import RockSettings

REACH_M = 30.0
"""How far a boulder candidate is influenced from; must stay below the halo."""


def find_boulders(
    cloud: Cloud,
    asprs_class: NDArray[np.uint8],
    height_above_m: NDArray[np.float32],
    core: Grid,
    /,
    *,
    settings: RockSettings,
) -> gpd.GeoDataFrame:
    """Lumps of the core that may be boulders, each with the probability that it is one.

    Parameters
    ----------
    cloud : Cloud of n returns
        The core and a margin of at least `REACH_M` around it.
    asprs_class : (n,) uint8
        Only noise (7, 18) and buildings (6) are believed: a filter may have taken a boulder for ground or for a bush.
    height_above_m : (n,) float32, metres
        Height above the filter's bare earth, used to leave out the crowns and to take off the slope.

    Returns
    -------
    GeoDataFrame of points: symbol 204 or 205 by height (what the draft makes of it is decided area-wide),
    confidence, height_m, width_m, angle_deg of the long axis, evidence.
    """
    near = core.pad(REACH_M)
    believed = np.isfinite(height_above_m) & ~np.isin(asprs_class, (6, 7, 18))
    low = low_returns(cloud.take(believed), height_above_m[believed], near, settings=settings)
    if not len(low.east):
        return no_features(core.crs)
    lumps = find_lumps(low, near, settings=settings)
    evidence = weigh_lumps(low, lumps, settings=settings)
    sure = boulder_confidence(evidence)
    tall = np.nan_to_num(evidence.height_m) >= settings.least_height_m
    best = _keep_best(lumps, np.where(tall, sure, -1.0))
    chosen = best & tall & (sure >= settings.least_candidate_confidence)
    chosen &= core.contains(lumps.east, lumps.north)
    return _as_features(lumps, evidence, sure, np.flatnonzero(chosen), core.crs, settings)


def _keep_best(lumps: Lumps, sure: Floats) -> NDArray[np.bool_]:
    """Which lumps are the likeliest of those that overlap them; ties go to the western, then southern one."""
    keep = np.ones(len(lumps), bool)
    if not len(lumps):
        return keep
    places = np.column_stack((lumps.east, lumps.north))
    radius = lumps.half_axes_m.mean(axis=1)
    pairs = cKDTree(places).query_pairs(2 * float(radius.max()), output_type="ndarray")
    apart = np.hypot(*(places[pairs[:, 0]] - places[pairs[:, 1]]).T)
    pairs = pairs[apart < np.maximum(radius[pairs[:, 0]], radius[pairs[:, 1]])]
    order = np.lexsort((lumps.level_m, lumps.north, lumps.east, -np.round(sure, 9)))
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    worse = np.where(rank[pairs[:, 0]] > rank[pairs[:, 1]], pairs[:, 0], pairs[:, 1])
    keep[worse] = False
    return keep


def _as_features(
    lumps: Lumps, evidence: Evidence, sure: Floats, chosen: NDArray[np.intp], crs: str, settings: RockSettings
) -> gpd.GeoDataFrame:
    """The chosen lumps as features, sorted by place so that the order does not depend on the block."""
    chosen = chosen[np.lexsort((lumps.north[chosen], lumps.east[chosen]))]
    height = evidence.height_m[chosen]
    axis = np.linalg.eigh(lumps.shape_m2[chosen])[1][:, :, 1]
    return make_features(
        shapely.points(lumps.east[chosen], lumps.north[chosen]),
        crs=crs,
        symbol=np.where(height >= settings.large_boulder_min_height_m, "205", "204").tolist(),
        confidence=sure[chosen],
        evidence=[describe(evidence, i) for i in chosen],
        elevation_m=evidence.top_m[chosen] - height,
        height_m=height,
        width_m=np.sqrt(evidence.width_m[chosen] * evidence.length_m[chosen]),
        angle_deg=np.degrees(np.arctan2(axis[:, 0], axis[:, 1])) % 180,
    )
