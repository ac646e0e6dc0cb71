"""Of many point symbols of a kind the prominent stay, so that the map can be read.

A mapper draws the boulder, knoll, hollow or tree that is seen among its neighbours. Where they stand so thick that
none is, the norm has an area that says so: a boulder field, broken ground, open land with scattered trees.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from pipeline.draft.choosing.scattered import Crowd, scatter_trees
from pipeline.draft.choosing.status import CANDIDATE, DRAFT, is_candidate
from pipeline.draft.left_out import left_out
from pipeline.features import join_features, make_features, no_features
from pipeline.lattice.grid import EastNorth, Mask
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom

REACH_MM = 3.0
"""Distance on the map within which symbols of a kind are seen together, 45 m of ground: about what the lens of a
compass or a thumb leaves around the place where one is. Our choice."""


@dataclass(frozen=True)
class Family:
    """Point symbols of one kind, among which the prominent stay.

    Attributes
    ----------
    name : what they are together, in the plural
    symbols : numbers of the norm
    most : how many of them may be drawn within `REACH_MM` of any of them, itself not counted
    least_ratio : least height, as a share of that of any drawn within that distance
    link_m : distance up to which two stand so near that they are one crowd
    crowd : how many a crowd has at least
    area : symbol of the area that stands for a crowd
    towering_ratio : height, as a multiple of the crowd's median, from which one of it is drawn on the area as well
    """

    name: str
    symbols: tuple[str, ...]
    most: int
    least_ratio: float
    link_m: float
    crowd: int
    area: str
    towering_ratio: float


def _spacing_m(symbol: str) -> float:
    """Mean distance of the signs of an area symbol, in metres of ground."""
    return ground_m(float(1 / np.sqrt(isom(symbol).mm("density_per_mm2"))))


FAMILIES = (
    Family("boulders", ("204", "205", "207"), 6, 0.0, _spacing_m("208"), 5, "208", 2.0),
    Family("knolls", ("109", "110"), 4, 0.0, ground_m(REACH_MM) / 2, 5, "113", 2.0),
    Family("hollows", ("111", "112"), 4, 0.0, ground_m(REACH_MM) / 2, 5, "113", 2.0),
    # A bush beside a tree of twice its height is not what is seen, and few trees are landmarks where there are many.
    Family("trees", ("417", "418", "419"), 2, 0.5, ground_m(REACH_MM), 4, "402", 0.0),
)
"""Most, least share, and size of a crowd are our choice: six boulders are a quarter of the triangles that a boulder
field has on that ground, and other symbols are larger. Boulders make a field where they stand as near as its
triangles are drawn, on the mean; knolls and hollows broken ground where their symbols would fill it; trees scattered
trees where none is out of sight of the next."""


def choose_prominent(features: gpd.GeoDataFrame, outline: BaseGeometry, /) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """The features with crowded points as areas, or as candidates, and the list of both with the reason.

    Parameters
    ----------
    features : with `status` and `origin`
    outline : the area, beyond which no area is drawn
    """
    gone = []
    for family in FAMILIES:
        features, listed = _choose(features.reset_index(drop=True), family, outline)
        gone.append(listed)
    return features, join_features(gone, str(features.crs))


def _choose(
    features: gpd.GeoDataFrame, family: Family, outline: BaseGeometry
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """The features, numbered from 0, with the points of one family chosen."""
    geometry = features.geometry.to_numpy()
    is_point = shapely.get_type_id(geometry) == shapely.GeometryType.POINT
    is_one = is_point & np.isin(features["symbol"].to_numpy(str), family.symbols) & ~is_candidate(features)
    # What another map shows was chosen by whoever drew it.
    rows = np.flatnonzero(is_one & (features["status"].to_numpy(str) == DRAFT))
    place = np.column_stack((shapely.get_x(geometry[rows]), shapely.get_y(geometry[rows])))
    height = np.nan_to_num(features["height_m"].to_numpy(np.float64)[rows])
    stays = prominent(place, height, features["confidence"].to_numpy(np.float64)[rows], family)
    if stays.all():
        return features, no_features(str(features.crs))
    crowd = crowds(place, stays, family)
    areas = [features.iloc[rows[crowd == label]] for label in range(1, int(crowd.max(initial=0)) + 1)]
    if family.area == "402":
        features, held = scatter_trees(features, [Crowd.of(part, family.link_m) for part in areas])
        in_area = ~stays & np.isin(crowd, 1 + np.flatnonzero(held))
    else:
        features = join_features([features, *(_area_of(part, family, outline) for part in areas)], str(features.crs))
        stays &= (crowd == 0) | _towers(height, crowd, family)
        in_area = ~stays & (crowd > 0)
    return _without(features, rows[in_area], rows[~stays & ~in_area], family)


def prominent(
    place: EastNorth, height_m: NDArray[np.float64], confidence: NDArray[np.float64], family: Family, /
) -> Mask:
    """(n,) bool: which places are drawn, the highest first, each with few enough drawn before it within reach.

    Height counts as far as it is likely: a high lump that may be none comes after a lower one that is sure. Of equals
    the north-western is drawn.
    """
    worth = np.round(height_m * confidence, 3)
    order = np.lexsort((place[:, 0], -place[:, 1], -confidence, -worth))
    stays = np.zeros(len(place), np.bool_)
    tree = cKDTree(place) if len(place) else None
    for row in order:
        near = np.array(tree.query_ball_point(place[row], ground_m(REACH_MM)), np.intp) if tree is not None else order
        before = near[stays[near]]
        is_high = height_m[row] >= family.least_ratio * height_m[before].max(initial=0.0)
        stays[row] = len(before) <= family.most - 1 and is_high
    return stays


def crowds(place: EastNorth, stays: Mask, family: Family, /) -> NDArray[np.int64]:
    """(n,) number from 1 of the crowd that each place belongs to, 0 for none.

    A crowd holds at least one that is not drawn by itself.
    """
    pairs = cKDTree(place).query_pairs(family.link_m, output_type="ndarray")
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(place), len(place)))
    label = np.asarray(connected_components(links, directed=False)[1], np.int64)
    is_crowd = (np.bincount(label) >= family.crowd) & (np.bincount(label, ~stays) > 0)
    number = np.where(is_crowd, np.cumsum(is_crowd), 0)
    return np.asarray(number[label], np.int64)


def _towers(height_m: NDArray[np.float64], crowd: NDArray[np.int64], family: Family) -> Mask:
    """(n,) bool: which stand out of their crowd: a dot among the signs of the area cannot be told from them."""
    usual_m = {label: float(np.median(height_m[crowd == label])) for label in set(crowd.tolist())}
    return np.array([h >= family.towering_ratio * usual_m[n] for h, n in zip(height_m, crowd, strict=True)], np.bool_)


WIDER = 1.2
"""Times half of a link that the ground around each member reaches, so that two a link apart have no neck between them.
Our choice."""


def _area_of(members: gpd.GeoDataFrame, family: Family, outline: BaseGeometry) -> gpd.GeoDataFrame:
    """The area that stands for a crowd: the ground around its members, within the outline."""
    around = shapely.buffer(members.geometry.to_numpy(), WIDER * family.link_m / 2, quad_segs=4)
    inside = shapely.get_parts(shapely.intersection(shapely.union_all(around), outline))
    shape = inside[int(np.argmax(shapely.area(inside)))]
    tallest = float(members["height_m"].max())
    return make_features(
        [shape],
        crs=str(members.crs),
        symbol=family.area,
        confidence=float(members["confidence"].mean()),
        evidence=f"{len(members)} {family.name} up to {tallest:.1f} m high, none farther than {family.link_m:.0f} m "
        "from the next",
        height_m=tallest,
    ).assign(status=DRAFT, origin="lidar")


def _without(
    features: gpd.GeoDataFrame, merged: NDArray[np.intp], lesser: NDArray[np.intp], family: Family
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """The features without those that an area stands for, the lesser ones as candidates; and the list of both.

    Both are told by their index.
    """
    why = f"less prominent than other {family.name} within {ground_m(REACH_MM):.0f} m"
    listed: Sequence[gpd.GeoDataFrame] = (
        left_out(features.loc[merged], f"one of many {family.name}, drawn as an area", what="merged"),
        left_out(features.loc[lesser], why, what="not drawn", distance_m=ground_m(REACH_MM)),
    )
    changed = features.copy()
    changed.loc[lesser, "status"] = CANDIDATE
    changed.loc[lesser, "evidence"] = features.loc[lesser, "evidence"] + f"; {why}"
    kept = changed.drop(index=merged).reset_index(drop=True)
    return kept, join_features(listed, str(features.crs))
