"""Features that cannot stand together: which of them stays."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.draft.choosing.status import CANDIDATE, MAPPER_DECIDES, NOT_SEEN, is_candidate
from pipeline.draft.record.left_out import left_out
from pipeline.features import WAYS, join_features, no_features

Kept = tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]
"""The features that stay, and those that do not, each with the reason."""

SOLID = ("301", "302", "521")
"""Water and buildings: areas that nothing else is drawn on."""
BARE_ROCK = "214"
PATHS = ("505", "506", "507")
"""Ways that are told from a ride by how worn the ground is alone, since none is wide enough to see."""


def resolve_areas(features: gpd.GeoDataFrame, /) -> Kept:
    """Vegetation, bare rock, sand and paved areas give way to water and buildings, so that these areas do not overlap.

    Open land stays under bare rock, and the sheet prints it clear: that it is rock is a guess, that it is open is not.
    Water and buildings that are only proposed take nothing away, or the map would show holes where they are not drawn.
    """
    nothing = no_features(str(features.crs))
    symbol = features["symbol"].to_numpy(str)
    is_area = (features.geom_type == "Polygon").to_numpy()
    strong = is_area & np.isin(symbol, SOLID) & ~is_candidate(features)
    weak = is_area & (np.char.startswith(symbol, "4") | np.isin(symbol, (BARE_ROCK, *MAPPER_DECIDES, NOT_SEEN)))
    if not strong.any() or not weak.any():
        return features, nothing
    cover = shapely.union_all(features.geometry.to_numpy()[strong])
    hit = weak & shapely.intersects(cover, features.geometry.to_numpy())
    if not hit.any():
        return features, nothing
    cut = features[hit].copy()
    cut.geometry = shapely.difference(cut.geometry.to_numpy(), cover)
    is_gone = cut.geometry.is_empty.to_numpy()
    covered = left_out(features[hit][is_gone], "wholly under water or a building")
    cut = cut[~is_gone].explode(ignore_index=True)
    return join_features([features[~hit], cut[cut.geom_type == "Polygon"]], str(features.crs)), covered


@dataclass(frozen=True)
class Yielding:
    """Lines that go where most of their length lies beside stronger ones, for one thing is drawn once.

    Attributes
    ----------
    weak, strong : symbols; a variant such as 508.2 counts as its symbol
    within_m : how far from a strong line a weak one is the same thing
    reason : why it goes, for the list of what is left out
    to_surer : it goes only beside strong lines that are at least as sure
    stays_proposed : it is not drawn, but stays as a candidate to be looked at
    """

    weak: tuple[str, ...]
    strong: tuple[str, ...]
    within_m: float
    reason: str
    to_surer: bool = False
    stays_proposed: bool = False


YIELDING = (
    # Blue says channel, brown would say it is dry; half a millimetre of map.
    Yielding(("104", "107", "108"), ("304", "305", "306"), 8.0, "it is the bed of a watercourse"),
    # A wall is a thin step or ridge, which looks like a low cliff, a bank or an earth wall too.
    Yielding(("104", "105", "106", "202"), ("513", "514", "515"), 3.0, "it is a wall"),
    # The corridor under a power line was cleared for it. Half of its width.
    Yielding(("508",), ("510", "511"), 12.0, "it is the corridor of a power line"),
    # A sunken lane is a gully in the bare earth, a track through forest a ride in the growth. Half the width of a wide
    # road and what both are off by. A clear ride stays where the ground shows a path in it that is less sure than it.
    Yielding(("107", "108"), WAYS, 6.0, "it is a road, track or path"),
    Yielding(("508",), ("502", "503", "504"), 6.0, "it is a road or track"),
    Yielding(("508",), PATHS, 6.0, "it is a path", to_surer=True),
    Yielding(PATHS, ("508",), 6.0, "it is a ride, and whether a path runs in it is less sure", stays_proposed=True),
    # A hedge or wall beside a fence hides it, and a fence in a hedge is one obstacle.
    Yielding(("516",), ("513", "514", "515"), 3.0, "it is a wall"),
)
"""Which lines yield to which (our choice)."""
SAME_THING_RATIO = 0.5
"""Share of its length beside stronger lines that makes a line the same thing: most of it (our choice)."""


def resolve_lines(features: gpd.GeoDataFrame, /) -> Kept:
    """A line gives way where a stronger one that is drawn says what it is (YIELDING)."""
    symbol = np.array([number.split(".")[0] for number in features["symbol"].to_numpy(str)], str)
    geometry = features.geometry.to_numpy()
    is_line, proposed = shapely.get_dimensions(geometry) == 1, is_candidate(features)
    drop = np.zeros(len(features), np.bool_)
    dropped = []
    for rule in YIELDING:
        is_weak = is_line & np.isin(symbol, rule.weak) & ~drop
        is_strong = is_line & np.isin(symbol, rule.strong) & ~drop & ~proposed
        if not is_weak.any() or not is_strong.any():
            continue
        weak, strong = np.flatnonzero(is_weak), np.flatnonzero(is_strong)
        gone = weak[_beside_ratio(features, weak, strong, rule) > SAME_THING_RATIO]
        if rule.stays_proposed:
            gone = gone[~proposed[gone]]
            proposed[gone] = True
        else:
            drop[gone] = True
        what = "not drawn" if rule.stays_proposed else "dropped"
        dropped.append(left_out(features.iloc[gone], rule.reason, what=what, distance_m=rule.within_m))
    if not any(map(len, dropped)):
        return features, no_features(str(features.crs))
    kept = features[~drop].reset_index(drop=True)
    if (proposed & ~is_candidate(features)).any():
        kept.loc[proposed[~drop], "status"] = CANDIDATE
    return kept, gpd.GeoDataFrame(join_features(dropped, str(features.crs)))


def _beside_ratio(
    features: gpd.GeoDataFrame, weak: NDArray[np.intp], strong: NDArray[np.intp], rule: Yielding
) -> NDArray[np.float64]:
    """(n,) share of each weak line's length that lies beside the strong lines that it yields to."""
    geometry, confidence = features.geometry.to_numpy(), features["confidence"].to_numpy(np.float64)
    if "origin" in features:
        # What another map shows is not for lidar to take away.
        confidence = np.where(features["origin"].to_numpy(str) == "lidar", confidence, 1.0)
    wide = shapely.buffer(geometry[strong], rule.within_m)
    length = np.maximum(shapely.length(geometry[weak]), 1e-9)
    if not rule.to_surer:
        return np.asarray(shapely.length(shapely.intersection(geometry[weak], shapely.union_all(wide))) / length)
    beside = [shapely.union_all(wide[confidence[strong] >= confidence[row]]) for row in weak]
    return np.asarray(shapely.length(shapely.intersection(geometry[weak], np.array(beside, object))) / length)


CLEAR_OF_SOLID_M = 2.0
"""Points this near to a building or water are parts of it, such as a chimney or a buoy (our choice)."""
MEASURED, UNMEASURED_ROCK, WATER, VEGETATION, UNTOLD = range(5)
KINDS = {
    "203.1": UNMEASURED_ROCK,
    "203.2": UNMEASURED_ROCK,
    "303": WATER,
    "312": WATER,
    "313": WATER,
    "417": VEGETATION,
    "418": VEGETATION,
    "419": VEGETATION,
    **dict.fromkeys(MAPPER_DECIDES, UNTOLD),
}
"""Kinds of point symbols whose confidences are not on one scale, by symbol; all others are of the first kind.

Of two symbols for one thing the one of the earlier kind stays, whatever the confidences; within a kind the surer one.
Boulders, knolls, depressions and pits come first: their confidences were fitted on planted boulders or measured on the
shape. All rocky pits have one constant, and each is a pit with a guess about its walls. Trees and bushes come after
them, with a constant each: the norm draws black, blue and brown over green (order in `config/symbols.csv`). That water
comes between is our choice. What is a candidate comes after all that is drawn, so that it never takes that away.
"""
BOULDERS = ("204", "205", "207")
WALLS = ("513", "514", "515")
PART_OF_WALL_M = 1.5
"""A boulder whose middle lies this near to the line of a wall is a higher stretch of it: half of a dry-stone
wall is 0.4 m wide, and the line is off by up to a metre. Our choice; on a made scene of fields with free walls 14 of 20
wrong lumps that might have been drawn lay within 0.2 m of a true wall."""
SAME_THING_M = 3.0
"""Two point symbols this near stand for one thing: half of what the dot of a boulder covers in print (our choice)."""


def resolve_points(features: gpd.GeoDataFrame, /) -> Kept:
    """Of two point symbols that claim one thing one stays (`KINDS`); what stands on something solid goes.

    That is a building, water, or for boulders a wall, whose higher stretches are lumps of stone like them.
    """
    symbol = features["symbol"].to_numpy(str)
    geometry = features.geometry.to_numpy()
    is_point = shapely.get_type_id(geometry) == shapely.GeometryType.POINT
    solid = (features.geom_type == "Polygon").to_numpy() & np.isin(symbol, SOLID) & ~is_candidate(features)
    on_solid = np.zeros(len(features), np.bool_)
    if solid.any():
        tree = shapely.STRtree(shapely.buffer(geometry[solid], CLEAR_OF_SOLID_M))
        hits = tree.query(geometry, predicate="within")[0]
        on_solid[hits] = is_point[hits]
    of_wall = is_point & ~on_solid & _on_walls(features)
    doubled = _doubled(features, np.flatnonzero(is_point & ~on_solid & ~of_wall))
    dropped = [
        left_out(features[on_solid], "on a building or in water", distance_m=CLEAR_OF_SOLID_M),
        left_out(features[of_wall], "part of a wall", distance_m=PART_OF_WALL_M),
        left_out(features[doubled], "another point symbol stands for the same thing", distance_m=SAME_THING_M),
    ]
    stays = features[~(on_solid | of_wall | doubled)].reset_index(drop=True)
    return stays, gpd.GeoDataFrame(join_features(dropped, str(features.crs)))


def _on_walls(features: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    """(n,) bool: boulders within `PART_OF_WALL_M` of the line of a wall."""
    symbol = np.array([number.split(".")[0] for number in features["symbol"].to_numpy(str)], str)
    geometry = features.geometry.to_numpy()
    walls = np.isin(symbol, WALLS) & (shapely.get_dimensions(geometry) == 1) & ~is_candidate(features)
    on_walls = np.zeros(len(features), np.bool_)
    boulders = np.flatnonzero(np.isin(symbol, BOULDERS))
    if walls.any() and len(boulders):
        near = shapely.STRtree(geometry[walls]).query(geometry[boulders], "dwithin", PART_OF_WALL_M)[0]
        on_walls[boulders[near]] = True
    return on_walls


def _doubled(features: gpd.GeoDataFrame, points: NDArray[np.intp]) -> NDArray[np.bool_]:
    """(n,) bool: points near another symbol that is drawn or of an earlier kind where they are not, or surer."""
    drop = np.zeros(len(features), np.bool_)
    if len(points) < 2:
        return drop
    geometry = features.geometry.to_numpy()[points]
    place = np.column_stack((shapely.get_x(geometry), shapely.get_y(geometry)))
    symbol = features["symbol"].to_numpy(str)[points]
    kind = np.array([KINDS.get(number, MEASURED) for number in symbol])
    sure = features["confidence"].to_numpy()[points]
    rank = np.lexsort((place[:, 0], place[:, 1], symbol, -sure, kind, is_candidate(features)[points]))
    standing = np.empty(len(points), np.intp)
    standing[rank] = np.arange(len(points))
    for a, b in cKDTree(place).query_pairs(SAME_THING_M, output_type="ndarray"):
        if symbol[a] != symbol[b]:
            drop[points[a if standing[a] > standing[b] else b]] = True
    return drop
