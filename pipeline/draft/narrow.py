"""Parts of green that are narrower than the norm lets them be are drawn as what lies beside them."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from pipeline.draft.choosing.status import is_candidate
from pipeline.draft.collisions import Kept
from pipeline.draft.narrow_parts import LEAST_M2, Parts, Rows, Shapes, narrow_parts
from pipeline.draft.nets import Net, handed_over
from pipeline.draft.record.left_out import left_out
from pipeline.draft.white_rims import VEGETATION
from pipeline.features import join_features, no_features
from pipeline.norm.symbols import SymbolTable
from pipeline.remembered import Remembered, nothing_remembered

SPARE_RATIO = 0.97
"""Narrow is what is below this share of the least width: between it and what printing allows, 5 %, lies the rounding of
coordinates (our choice)."""
KEPT_WIDTHS = 2.2
"""Length, in least widths, that is left of a longer one (our choice)."""
GAP_M = 3.0
"""A neck between two broad parts is cut over this length in its middle: a gap of 0.2 mm on a map at 1:15 000, which a
runner sees (our choice)."""
ROUNDS = 6
"""Times that narrow parts are sought, at most: what is cut or given away may make another one (our choice)."""
WHOLE_ROUNDS = 3
"""In the rounds after these no tip is left where a part was cut (our choice)."""
LAST_ROUNDS = 2
"""In so many rounds at the end only areas that may be narrow take what is cut, or it is left white (our choice)."""
WIDENED_ROUNDS = 3
"""Rounds in which parts are drawn wider (our choice)."""
NEARLY_RATIO = 0.1
"""A part is drawn wider, not cut, from this share of its least width, as a mean of its tapering shape (our choice)."""
WIDENED_M = (0.3, 2.0)
"""Least and most by which an edge of such a part is moved in a round: the rounding of its ends, and what one does not
see on the map, 0.13 mm (our choice)."""


def without_narrow_parts(
    features: gpd.GeoDataFrame,
    symbols: SymbolTable,
    /,
    *,
    outline: Polygon | MultiPolygon,
    remembered: Remembered = nothing_remembered,
) -> Kept:
    """The features with no part of 406, 408 and 410 narrower than the norm allows.

    A part of some width is drawn wider; another is given to what it shares most border with, or left white.
    Areas beside each other keep sharing their edges. Returned are also the areas of which nothing is left.

    Parameters
    ----------
    outline : the area, beyond which nothing is drawn
    remembered : the narrow parts of areas met before
    """
    symbol = features["symbol"].to_numpy(str)
    geometry = features.geometry.to_numpy()
    # What is only proposed is not printed: it leaves white.
    is_ground = (shapely.get_type_id(geometry) == shapely.GeometryType.POLYGON) & ~is_candidate(features)
    rows = np.flatnonzero(is_ground & np.isin(np.char.partition(symbol, ".")[:, 0], VEGETATION))
    old = geometry[rows]
    width_m = np.array([SPARE_RATIO * symbols.smallest(text).width_m for text in symbol[rows]], np.float64)
    is_other = is_ground.copy()
    is_other[rows] = False
    now = _widened(old, width_m, geometry[is_other], outline, remembered)
    now = _all_wide(now, width_m, remembered)
    is_changed = np.array([one is not before for one, before in zip(now, old, strict=True)], np.bool_)
    if not is_changed.any():
        return features, no_features(str(features.crs))
    changed = features.iloc[rows[is_changed]]
    is_gone = shapely.is_empty(now[is_changed])
    gone = left_out(changed[is_gone], "narrower than the norm draws it: drawn as what is beside it", what="merged")
    parts = changed.set_geometry(gpd.GeoSeries(now[is_changed], index=changed.index, crs=features.crs))[~is_gone]
    stays = np.ones(len(features), np.bool_)
    stays[rows[is_changed]] = False
    return join_features([features[stays], parts.explode(ignore_index=True)], str(features.crs)), gone


def _widened(
    areas: Shapes, width_m: NDArray[np.float64], others: Shapes, outline: Polygon | MultiPolygon, remembered: Remembered
) -> Shapes:
    """(n,) areas, their narrow parts widened, the darkest first, at the cost of what lies beside them."""
    now = areas.copy()
    to_look_at = np.isfinite(width_m)
    for _ in range(WIDENED_ROUNDS):
        rows = np.flatnonzero(to_look_at)
        parts = narrow_parts(now[rows], width_m[rows], remembered)
        owner = rows[parts.owner]
        found_m = 2 * shapely.area(parts.shapes) / np.maximum(shapely.length(parts.shapes), LEAST_M2)
        is_near = (parts.n_ends > 0) & (found_m > NEARLY_RATIO * width_m[owner])
        if not is_near.any():
            break
        owner, shapes = owner[is_near], parts.shapes[is_near]
        more_m = np.clip((width_m[owner] - found_m[is_near]) / 2, *WIDENED_M)
        gains = shapely.intersection(shapely.buffer(shapes, more_m), outline)
        near = shapely.STRtree(gains).query(others, predicate="intersects")
        if near.size:
            gains = shapely.difference(gains, shapely.union_all(others[np.unique(near[0])]))
        order = np.argsort(-width_m[owner], kind="stable")
        before = now
        now = handed_over(
            now,
            gains[order],
            owner[order],
            np.ones(len(now), np.bool_),
            hand_over=_gains_given,
            remembered=remembered,
        )
        to_look_at = np.array([a is not b for a, b in zip(now, before, strict=True)], np.bool_) & np.isfinite(width_m)
    return now


def _gains_given(net: Net, gains: Shapes, owner: Rows, _: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Faces of each area where each owner has its gain, where two gain the same the later one, and nobody else it."""
    inside = shapely.STRtree(net.inside).query(gains, predicate="intersects")
    held = net.held.copy()
    for gain, face in inside.T[np.argsort(inside[0], kind="stable")]:
        held[face] = False
        held[face, owner[gain]] = True
    return held


def _all_wide(areas: Shapes, width_m: NDArray[np.float64], remembered: Remembered) -> Shapes:
    """(n,) areas with their narrow parts cut off or given away; those that did not change are the same objects."""
    now = areas.copy()
    to_look_at = np.isfinite(width_m)
    for turn in range(ROUNDS):
        rows = np.flatnonzero(to_look_at)
        parts = narrow_parts(now[rows], width_m[rows], remembered)
        if not len(parts.shapes):
            break
        owner = rows[parts.owner]
        cut = _cut_of(parts, width_m[owner], keeps_tips=turn < WHOLE_ROUNDS)
        may_take = (turn < ROUNDS - LAST_ROUNDS) | np.isnan(width_m)
        before = now
        now = handed_over(now, cut, owner, may_take, hand_over=_parts_given_away, remembered=remembered)
        to_look_at = np.array([a is not b for a, b in zip(now, before, strict=True)]) & np.isfinite(width_m)
    return now


def _cut_of(parts: Parts, width_m: NDArray[np.float64], *, keeps_tips: bool) -> Shapes:
    """(n,) what goes of each part: all of an area that is nowhere broad, else what lies beyond the tips that stay."""
    if not keeps_tips:
        return parts.shapes
    corners, part = shapely.get_coordinates(parts.shapes, return_index=True)
    # An area that is nowhere broad goes whole, whatever its way to nothing is.
    away_m = np.nan_to_num(shapely.distance(shapely.points(corners), parts.beside[part]))
    furthest_m = np.zeros(len(parts.shapes))
    np.maximum.at(furthest_m, part, away_m)
    kept_m = KEPT_WIDTHS * width_m
    kept_m = np.where(parts.n_ends > 1, np.clip(furthest_m - GAP_M / 2, 0, kept_m), kept_m)
    near = shapely.buffer(parts.beside, kept_m)
    beyond = shapely.difference(parts.shapes, near)
    is_whole = (parts.n_ends == 0) | (kept_m <= 0) | shapely.is_empty(beyond)
    return np.where(is_whole, parts.shapes, beyond)


def _parts_given_away(net: Net, cut: Shapes, owner: Rows, may_take: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Faces of each area where parts cut off went to those that may take them and share most border, or to none."""
    held = net.held.copy()
    pieces, part = shapely.get_parts(cut, return_index=True)
    cut_face, piece = shapely.STRtree(pieces).query(net.inside, predicate="intersects")
    of_owner = held[cut_face, owner[part[piece]]]
    cut_face, piece = cut_face[of_owner], piece[of_owner]
    loser = owner[part[piece]]
    host = _hosts(net, may_take, cut_face, piece, loser)
    held[cut_face, loser] = False
    held[cut_face[host >= 0], host[host >= 0]] = True
    return held


def _hosts(net: Net, may_take: NDArray[np.bool_], cut_face: Rows, piece: Rows, loser: Rows) -> Rows:
    """(m,) area that each cut face goes to, all faces of a piece to one; -1 for white, which is what no area holds."""
    faces, held = net.faces, net.held & may_take
    piece_of = np.full(len(faces), -1)
    piece_of[cut_face] = piece
    one, other = shapely.STRtree(faces).query(faces[cut_face], predicate="intersects")
    # White that areas enclose is a face too, and so are slivers between edges that rounding keeps apart.
    is_white = ~net.held.any(axis=1) & (shapely.area(faces) > LEAST_M2)
    apart = (piece_of[other] != piece[one]) & ~is_white[other]
    one, other = one[apart], other[apart]
    rims = shapely.boundary(faces)
    shared_m = shapely.length(shapely.intersection(rims[cut_face[one]], rims[other]))
    hosts = np.full(len(cut_face), -1)
    for number in np.unique(piece):
        own = np.flatnonzero(piece == number)
        among = np.isin(one, own)
        white_m = shapely.union_all(faces[cut_face[own]]).length - shared_m[among].sum()
        # What goes itself takes nothing.
        stays = among & (piece_of[other] < 0)
        length_m = shared_m[stays] @ held[other[stays]]
        length_m[loser[own[0]]] = 0
        best = int(np.argmax(np.round(length_m, 6)))
        if length_m[best] > max(white_m, 0.0):
            hosts[own] = best
    return hosts
