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
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom
from pipeline.rock.boulders.low_returns import Floats


def generalise_boulders(boulders: gpd.GeoDataFrame, /, *, least_confidence: float) -> gpd.GeoDataFrame:
    """Boulders as symbols that fit beside each other: 204, 205, 206, clusters 207 and fields 208, 209.

    Parameters
    ----------
    boulders : GeoDataFrame of points with height_m, width_m, confidence
    least_confidence : float
        A group is drawn as one where at least two of its boulders are there with this probability; else its likeliest
        boulder is drawn alone.
    """
    if not len(boulders):
        return boulders
    group = _groups(boulders, dots_m(boulders))
    size = np.bincount(group)
    single = _single(_with_gaps(boulders[size[group] == 1]))
    grouped = [_grouped(boulders[group == label], least_confidence) for label in np.flatnonzero(size > 1)]
    return join_features([single, *grouped], str(boulders.crs))


def dots_m(boulders: gpd.GeoDataFrame, /) -> Floats:
    """(n,) ground that the dot of each boulder covers, as a diameter."""
    is_large = boulders.height_m.to_numpy() >= isom("205").smallest.height_m
    return np.where(is_large, isom("205").ground_m("dot_mm"), isom("204").ground_m("dot_mm"))


def _groups(boulders: gpd.GeoDataFrame, dot_m: Floats, /) -> NDArray[np.int64]:
    """(n,) label of the group each boulder belongs to: chains of dots that run into each other."""
    places = np.column_stack((boulders.geometry.x, boulders.geometry.y))
    pairs = _closer_than(places, dot_m, 0.0)
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(places), len(places)))
    return np.asarray(connected_components(links, directed=False)[1], np.int64)


def _closer_than(places: Floats, dot_m: Floats, gap_m: float) -> NDArray[np.intp]:
    """(k, 2) pairs of dots with less than a gap between them."""
    pairs = cKDTree(places).query_pairs(float(dot_m.max(initial=0.0)) + gap_m, output_type="ndarray")
    apart = np.hypot(*(places[pairs[:, 0]] - places[pairs[:, 1]]).T)
    close: NDArray[np.intp] = pairs[apart < dot_m[pairs].mean(axis=1) + gap_m]
    return close


BLACK_GAP_MM = 0.15
"""Least gap between two black symbols, on paper: asked by ISOM 2017-2 of 202 and 206, and from memory of any thin black
line; that dots need as much is our choice."""
MOST_MOVES = 20
"""Rounds in which dots are moved apart: a dot that is pushed against a third has to be moved again."""
TOUCH_M = 0.01
"""A gap that falls short of the least one by less than this is wide enough; without it rounding never ends."""


def _with_gaps(boulders: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """The boulders, those whose dots all but touch moved apart to the least gap: by a metre or so, less than shows."""
    table = boulders.copy()
    places = np.column_stack((table.geometry.x, table.geometry.y))
    dot_m, gap_m = dots_m(table), ground_m(BLACK_GAP_MM)
    for _ in range(MOST_MOVES):
        pairs = _closer_than(places, dot_m, gap_m - TOUCH_M)
        if not len(pairs):
            break
        way = places[pairs[:, 0]] - places[pairs[:, 1]]
        apart = np.hypot(*way.T)
        push = way / apart[:, None] * ((dot_m[pairs].mean(axis=1) + gap_m - apart) / 2)[:, None]
        np.add.at(places, pairs[:, 0], push)
        np.subtract.at(places, pairs[:, 1], push)
    return table.set_geometry(gpd.points_from_xy(*places.T, crs=table.crs))


def _single(boulders: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Boulders standing alone: the symbol by height, the gigantic ones drawn to shape."""
    if not len(boulders):
        return boulders
    table = boulders.copy()
    tall = table.height_m >= isom("205").smallest.height_m
    table["symbol"] = np.where(tall, "205", "204")
    width = table.width_m.to_numpy()
    smallest = isom("206").smallest
    is_giant = tall & (width >= smallest.width_m) & (np.pi / 4 * width**2 >= smallest.area_m2)
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


OUTSTANDING_RATIO = 2.0
"""Of two boulders whose dots would touch, one so many times higher than the other is drawn alone, for it is what is
seen. Twice is the step from 204 to 205; two of more even height are a cluster (our choice)."""
CLUSTER_MAX_WIDTH_M = 16.0
"""Widest group that is drawn as one triangle 207, which covers 12 m of ground; a wider one is a field (our choice)."""
DENSE_FIELD_MIN_PER_HA = 100.0
"""Boulders a hectare that make a field 209 instead of 208: one every 10 m (our choice)."""


def _grouped(boulders: gpd.GeoDataFrame, least_confidence: float) -> gpd.GeoDataFrame:
    """A group as one cluster, as a field, as the biggest of two that would touch, or as the only one that is likely.

    The triangle of a cluster stands on the boulder nearest the middle of the group, where somebody will find one.
    """
    sure = _two_or_more(boulders.confidence.to_numpy())
    if sure < least_confidence:
        return _single(boulders.sort_values("confidence", ascending=False, kind="stable").iloc[:1])
    places = shapely.union_all(boulders.geometry.to_numpy())
    margin_m = isom("204").ground_m("dot_mm") / 2
    hull = places.convex_hull.buffer(margin_m, quad_segs=4)
    spread = max(hull.bounds[2] - hull.bounds[0], hull.bounds[3] - hull.bounds[1])
    by_height = boulders.sort_values("height_m", ascending=False, kind="stable")
    tallest, lowest = float(by_height.height_m.iloc[0]), float(by_height.height_m.iloc[-1])
    if len(boulders) == 2 and tallest >= OUTSTANDING_RATIO * lowest:
        return _single(by_height.iloc[:1])
    fits_one = spread <= CLUSTER_MAX_WIDTH_M
    per_ha = len(boulders) / hull.area * 1e4
    field = "209" if per_ha >= DENSE_FIELD_MIN_PER_HA else "208"
    # Distances in whole centimetres: of two boulders the higher one is the middle.
    from_middle = np.round(by_height.geometry.distance(places.centroid).to_numpy(), 2)
    return make_features(
        [by_height.geometry.iloc[int(from_middle.argmin())] if fits_one else hull],
        crs=str(boulders.crs),
        symbol="207" if fits_one else field,
        confidence=sure,
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
