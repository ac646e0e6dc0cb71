"""Boulders too close to be drawn one by one: clusters 207, fields 208 and 209."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely import affinity

from pipeline.features import join_features, make_features
from pipeline.rock.paper import ground_m
from pipeline.settings import RockSettings

HULL_MARGIN_M = 3.0
"""Half of the 6 m that the dot of 204 covers, so that a field holds the dots of its outermost boulders."""


def generalise_boulders(boulders: gpd.GeoDataFrame, /, *, scale: int, settings: RockSettings) -> gpd.GeoDataFrame:
    """Boulders as symbols that fit beside each other: 204, 205, 206, clusters 207 and fields 208, 209.

    Parameters
    ----------
    boulders : GeoDataFrame of points with height_m, width_m, confidence
    """
    if not len(boulders):
        return boulders
    places = np.column_stack((boulders.geometry.x, boulders.geometry.y))
    group = _groups(places, settings.cluster_distance_m)
    size = np.bincount(group)
    single = _single(boulders[size[group] == 1], scale, settings)
    grouped = [_grouped(boulders[group == label], scale, settings) for label in np.flatnonzero(size > 1)]
    return join_features([single, *grouped], str(boulders.crs))


def _groups(places: NDArray[np.float64], distance_m: float) -> NDArray[np.int64]:
    """(n,) label of the group each place belongs to: chains of places no farther apart than `distance_m`."""
    pairs = cKDTree(places).query_pairs(distance_m, output_type="ndarray")
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(places), len(places)))
    return np.asarray(connected_components(links, directed=False)[1], np.int64)


def _single(boulders: gpd.GeoDataFrame, scale: int, settings: RockSettings) -> gpd.GeoDataFrame:
    """Boulders standing alone: the symbol by height, the gigantic ones drawn to shape."""
    if not len(boulders):
        return boulders
    table = boulders.copy()
    tall = table.height_m >= settings.large_boulder_min_height_m
    table["symbol"] = np.where(tall, "205", "204")
    width = table.width_m.to_numpy()
    is_giant = tall & (width >= ground_m(settings.gigantic_min_width_mm, scale=scale))
    is_giant &= np.pi / 4 * width**2 >= settings.gigantic_min_area_m2
    table.loc[is_giant, "symbol"] = "206"
    table.loc[is_giant, "geometry"] = _outlines(table[is_giant])
    return table.drop(columns="length_m", errors="ignore")


def _outlines(boulders: gpd.GeoDataFrame) -> list[shapely.Polygon]:
    """The ellipse of each boulder: as large as the circle of its width, drawn out along its long axis where known."""
    width = boulders.width_m.to_numpy(np.float64)
    length = np.fmax(boulders["length_m"].to_numpy(np.float64), width) if "length_m" in boulders else width
    angle = np.nan_to_num(boulders.angle_deg.to_numpy(np.float64))
    return [
        affinity.rotate(affinity.scale(place.buffer(0.5, quad_segs=6), w**2 / along, along), -turn, origin=place)
        for place, w, along, turn in zip(boulders.geometry, width, length, angle, strict=True)
    ]


def _grouped(boulders: gpd.GeoDataFrame, scale: int, settings: RockSettings) -> gpd.GeoDataFrame:
    """A group as one cluster, as a field, or as the biggest of two that would touch."""
    places = shapely.union_all(boulders.geometry.to_numpy())
    hull = places.convex_hull.buffer(HULL_MARGIN_M, quad_segs=4)
    spread = max(hull.bounds[2] - hull.bounds[0], hull.bounds[3] - hull.bounds[1])
    tallest, lowest = float(boulders.height_m.max()), float(boulders.height_m.min())
    if len(boulders) == 2 and tallest >= settings.cluster_outstanding * lowest:
        return _single(boulders.sort_values("height_m", ascending=False).iloc[:1], scale, settings)
    fits_one = spread <= settings.cluster_max_width_m
    per_ha = len(boulders) / hull.area * 1e4
    field = "209" if per_ha >= settings.dense_field_min_per_ha else "208"
    return make_features(
        [places.centroid if fits_one else hull],
        crs=str(boulders.crs),
        symbol="207" if fits_one else field,
        confidence=_two_or_more(boulders.confidence.to_numpy()),
        evidence=f"{len(boulders)} boulders up to {tallest:.1f} m within {spread:.0f} m",
        elevation_m=float(boulders.elevation_m.mean()),
        height_m=tallest,
        width_m=spread,
    )


def _two_or_more(sure: NDArray[np.float64]) -> float:
    """Probability that at least two of the boulders are there, each on its own."""
    none = float(np.prod(1 - sure))
    one = float(sum(sure[i] * np.prod(np.delete(1 - sure, i)) for i in range(len(sure))))
    return min(max(1 - none - one, 0.0), 1.0)
