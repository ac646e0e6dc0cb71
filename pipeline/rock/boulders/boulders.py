"""Boulders from the returns themselves: lumps that are compact, opaque, hard-edged and solid."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.features import make_features, no_features
from pipeline.lattice.grid import EastNorth, Grid
from pipeline.norm.symbols import isom
from pipeline.returns.asprs import BUILDING, NOISE
from pipeline.returns.cloud import Cloud
from pipeline.rock.boulders.confidence import LEAST_RETURNS, boulder_confidence, describe, is_likely
from pipeline.rock.boulders.evidence import Evidence, weigh_lumps
from pipeline.rock.boulders.first_look import look_at
from pipeline.rock.boulders.low_returns import Floats, low_returns
from pipeline.rock.boulders.lumps import Lumps, find_lumps

LEAST_HEIGHT_M = 0.6
"""Lowest lump that becomes a candidate: below the 1 m that ISOM 2017-2 (204) asks for, because the very top of a
boulder is rarely hit and low lumps count as lookalikes of what is drawn."""
LEAST_CANDIDATE_CONFIDENCE = 0.02
"""Confidence below which a lump becomes no candidate; lower, the tables between the steps only grow (our choice)."""
REACH_M = 30.0
"""How far from a lump a return may lie and still change what is measured of it. The halo of a block must be wider, or
blocks disagree along their common edge."""


def find_boulders(
    cloud: Cloud, asprs_class: NDArray[np.uint8], height_above_m: NDArray[np.float32], core: Grid, /
) -> gpd.GeoDataFrame:
    """Lumps of the core that may be boulders, each with how likely its returns alone make it one.

    What stands around is weighed for the whole area, by `pipeline.rock.boulders.company.in_company`.

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
    confidence, height_m, width_m (of the circle as large), angle_deg and length_m of the long axis, evidence.
    """
    near = _where_seen(cloud, core.pad(REACH_M))
    believed = np.isfinite(height_above_m) & ~np.isin(asprs_class, (BUILDING, *NOISE))
    low = low_returns(cloud, np.where(believed, height_above_m, np.float32(np.nan)), near)
    if not len(low.east):
        return no_features(core.crs)
    lumps = find_lumps(low, near)
    lumps = lumps.take(is_likely(look_at(low, lumps)))
    evidence, solid = weigh_lumps(low, lumps)
    sure = boulder_confidence(evidence)
    is_tall = (np.nan_to_num(evidence.height_m) >= LEAST_HEIGHT_M) & (evidence.n_on >= LEAST_RETURNS)
    places = np.column_stack((solid.east, solid.north))
    best = keep_best(places, solid.half_axes_m.mean(axis=1), np.where(is_tall, sure, -1.0))
    chosen = best & is_tall & (sure >= LEAST_CANDIDATE_CONFIDENCE)
    chosen &= core.contains(solid.east, solid.north)
    return _as_features(solid, evidence, sure, np.flatnonzero(chosen), core.crs)


def _where_seen(cloud: Cloud, near: Grid) -> Grid:
    """The part of a grid with returns in it and `REACH_M` around: at the rim of a survey blocks are part empty."""
    inside = near.contains(cloud.east, cloud.north)
    if not inside.any():
        return near
    east, north = cloud.east[inside], cloud.north[inside]
    west_m, south_m, east_m, north_m = near.bounds
    bounds = (
        max(west_m, float(east.min()) - REACH_M),
        max(south_m, float(north.min()) - REACH_M),
        min(east_m, float(east.max()) + REACH_M),
        min(north_m, float(north.max()) + REACH_M),
    )
    return Grid.covering(bounds, cell_m=near.cell_m, crs=near.crs)


LEAST_APART_M = 1.0
"""Lumps are taken for at least this wide, in radius, when it is asked whether they overlap: two smaller ones side by
side are one thing seen twice (our choice)."""


def keep_best(places: EastNorth, radius_m: Floats, sure: Floats, /) -> NDArray[np.bool_]:
    """(k,) which lumps are likelier than every lump that overlaps them; ties go to the western, then southern one."""
    keep = np.ones(len(places), bool)
    if len(places) < 2:
        return keep
    reach = np.maximum(radius_m, LEAST_APART_M)
    pairs = cKDTree(places).query_pairs(float(1.2 * reach.max()), output_type="ndarray")
    apart = np.hypot(*(places[pairs[:, 0]] - places[pairs[:, 1]]).T)
    pairs = pairs[apart < 1.2 * np.maximum(reach[pairs[:, 0]], reach[pairs[:, 1]])]
    order = np.lexsort((radius_m, places[:, 1], places[:, 0], -np.round(sure, 9)))
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    # In order of likelihood: what is kept strikes out what it overlaps, what was struck out strikes out nothing.
    better = np.where(rank[pairs[:, 0]] < rank[pairs[:, 1]], pairs[:, 0], pairs[:, 1])
    worse = np.where(rank[pairs[:, 0]] < rank[pairs[:, 1]], pairs[:, 1], pairs[:, 0])
    for i in np.lexsort((rank[worse], rank[better])):
        if keep[better[i]]:
            keep[worse[i]] = False
    return keep


def _as_features(
    lumps: Lumps, evidence: Evidence, sure: Floats, chosen: NDArray[np.intp], crs: str
) -> gpd.GeoDataFrame:
    """The chosen lumps as features, sorted by place so that the order does not depend on the block."""
    chosen = chosen[np.lexsort((lumps.north[chosen], lumps.east[chosen]))]
    height = evidence.height_m[chosen]
    axis = np.linalg.eigh(lumps.shape_m2[chosen])[1][:, :, 1]
    found = make_features(
        [shapely.Point(e, n) for e, n in zip(lumps.east[chosen], lumps.north[chosen], strict=True)],
        crs=crs,
        symbol=np.where(height >= isom("205").smallest.height_m, "205", "204").tolist(),
        confidence=sure[chosen],
        evidence=[describe(evidence, i) for i in chosen],
        elevation_m=evidence.top_m[chosen] - height,
        height_m=height,
        width_m=np.sqrt(evidence.width_m[chosen] * evidence.length_m[chosen]),
        angle_deg=np.degrees(np.arctan2(axis[:, 0], axis[:, 1])) % 180,
    )
    return found.assign(length_m=evidence.length_m[chosen])
