"""Parts of green that are narrower than the norm lets them be are drawn as what lies beside them."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.draft.choosing.status import is_candidate
from pipeline.draft.collisions import Kept
from pipeline.draft.record.left_out import left_out
from pipeline.draft.white_rims import VEGETATION
from pipeline.features import join_features, no_features
from pipeline.norm.symbols import SymbolTable

SPARE_RATIO = 0.97
"""Narrow is what is below this share of the least width: between it and what printing allows, 5 %, lies the rounding of
coordinates (our choice)."""
ROUND_M = 0.29
"""Roundness that corners keep when narrow parts are sought: 0.02 mm on a map at 1:15 000, less than a printer shows
(our choice)."""
TIP_WIDTHS = 2.9
"""Length, in least widths, up to which a narrow part that hangs on broad growth by one end is its tip (our choice)."""
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
CORNERS = 6
"""Corners of a quarter of a disc: they leave its edge by less than 1 % of its radius, and cost little time."""
WIDENED_ROUNDS = 3
"""Rounds in which parts are drawn wider (our choice)."""
NEARLY_RATIO = 0.1
"""A part is drawn wider, not cut, from this share of its least width, as a mean of its tapering shape (our choice)."""
WIDENED_M = (0.3, 2.0)
"""Least and most by which an edge of such a part is moved in a round: the rounding of its ends, and what one does not
see on the map, 0.13 mm (our choice)."""
BESIDE_M = 0.01
"""What lies this near touches, but for the rounding of coordinates."""
LEAST_M2 = 1e-4
"""Less is the rounding of a coordinate, no part."""

Shapes = NDArray[np.object_]
Rows = NDArray[np.int64]


@dataclass(frozen=True)
class _Parts:
    """Narrow parts, n of them: their shapes, the row of the area that each is of, and where each of them may stay.

    Attributes
    ----------
    shapes : (n,) polygons
    owner : (n,) number of the area
    broad : (n,) what of that area is broad enough
    n_ends : (n,) pieces of it that the part touches
    """

    shapes: Shapes
    owner: Rows
    broad: Shapes
    n_ends: Rows


@dataclass(frozen=True)
class _Net:
    """Edges of areas and of what changes hands, laid into one net: what shares an edge then has the same vertices.

    Attributes
    ----------
    faces : (m,) polygons of the net
    inside : (m,) a point in each
    held : (m, n) bool, faces of each area
    rows : areas that lie in the net
    """

    faces: Shapes
    inside: Shapes
    held: NDArray[np.bool_]
    rows: Rows

    @classmethod
    def of(cls, areas: Shapes, shapes: Shapes, owner: Rows) -> _Net:
        """The net of shapes, of their owners, and of the areas beside them."""
        rows = np.union1d(owner, shapely.STRtree(areas).query(shapes, predicate="dwithin", distance=BESIDE_M)[1])
        edges = np.concatenate([shapely.boundary(areas[rows]), shapely.boundary(shapes)])
        faces = shapely.get_parts(shapely.polygonize([shapely.union_all(edges)]))
        inside = shapely.point_on_surface(faces)
        face, place = shapely.STRtree(areas[rows]).query(inside, predicate="intersects")
        held = np.zeros((len(faces), len(areas)), np.bool_)
        held[face, rows[place]] = True
        return cls(faces, inside, held, rows)

    def drawn(self, areas: Shapes, held: NDArray[np.bool_], /) -> Shapes:
        """(n,) areas of the faces that each holds; those that lie outside the net as they were."""
        found = areas.copy()
        for row in self.rows:
            found[row] = shapely.union_all(self.faces[held[:, row]])
        return found


_Known = dict[tuple[int, float], tuple[BaseGeometry, BaseGeometry, BaseGeometry]]
"""By the identity of an area and its least width: the area, which must live as long as its identity is asked for, what
of it is nowhere so wide, and the rest."""


def without_narrow_parts(
    features: gpd.GeoDataFrame, symbols: SymbolTable, /, *, outline: Polygon | MultiPolygon
) -> Kept:
    """The features with no part of 406, 408 and 410 narrower than the norm allows.

    A part of some width is drawn wider; another is given to what it shares most border with, or left white.
    Areas beside each other keep sharing their edges. Returned are also the areas of which nothing is left.

    Parameters
    ----------
    outline : the area, beyond which nothing is drawn
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
    known: _Known = {}
    now = _all_wide(_widened(old, width_m, geometry[is_other], outline, known), width_m, known)
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
    areas: Shapes, width_m: NDArray[np.float64], others: Shapes, outline: Polygon | MultiPolygon, known: _Known
) -> Shapes:
    """(n,) areas, their narrow parts widened, the darkest first, at the cost of what lies beside them."""
    now = areas.copy()
    to_look_at = np.isfinite(width_m)
    for _ in range(WIDENED_ROUNDS):
        rows = np.flatnonzero(to_look_at)
        parts = narrow_parts(now[rows], width_m[rows], known)
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
        before, now = now, _given(now, gains[order], owner[order])
        to_look_at = np.array([a is not b for a, b in zip(now, before, strict=True)], np.bool_) & np.isfinite(width_m)
    return now


def _given(areas: Shapes, gains: Shapes, owner: Rows) -> Shapes:
    """(n,) areas of which each owner has its gain, where two gain the same the later one, and nobody else has it."""
    net = _Net.of(areas, gains, owner)
    inside = shapely.STRtree(net.inside).query(gains, predicate="intersects")
    held = net.held.copy()
    for gain, face in inside.T[np.argsort(inside[0], kind="stable")]:
        held[face] = False
        held[face, owner[gain]] = True
    return net.drawn(areas, held)


def _all_wide(areas: Shapes, width_m: NDArray[np.float64], known: _Known) -> Shapes:
    """(n,) areas with their narrow parts cut off or given away; those that did not change are the same objects."""
    now = areas.copy()
    to_look_at = np.isfinite(width_m)
    for turn in range(ROUNDS):
        rows = np.flatnonzero(to_look_at)
        parts = narrow_parts(now[rows], width_m[rows], known)
        if not len(parts.shapes):
            break
        owner = rows[parts.owner]
        cut = _cut_of(parts, width_m[owner], keeps_tips=turn < WHOLE_ROUNDS)
        may_take = (turn < ROUNDS - LAST_ROUNDS) | np.isnan(width_m)
        before, now = now, _given_away(now, cut, owner, may_take)
        to_look_at = np.array([a is not b for a, b in zip(now, before, strict=True)]) & np.isfinite(width_m)
    return now


def narrow_parts(areas: Shapes, width_m: NDArray[np.float64], known: _Known | None = None, /) -> _Parts:
    """Parts of areas that no disc of that width, metres, reaches, without corners and tips.

    Parameters
    ----------
    areas : (n,) polygons or multipolygons, possibly empty
    width_m : (n,) least width of each
    known : what was found of areas before; what is found now is added
    """
    beyond, broad = _told_apart(areas, width_m, {} if known is None else known)
    shapes, area = shapely.get_parts(beyond, return_index=True)
    pieces, owner = shapely.get_parts(broad, return_index=True)
    # Where edges run along each other there are lines too, which are no part of an area.
    is_area = (shapely.get_dimensions(pieces) == 2) & ~shapely.is_empty(pieces)
    pieces, owner = pieces[is_area], owner[is_area]
    n_pieces = np.bincount(owner, minlength=len(areas))
    n_ends = np.minimum(n_pieces[area], 1)
    # Only in an area of several broad parts can one lie between two: the others need not be asked.
    several = np.flatnonzero(n_pieces[area] > 1)
    if len(several):
        # The pieces are asked for the parts, as what asks is indexed once: pieces have many corners, parts few.
        piece, part = shapely.STRtree(shapes[several]).query(pieces, predicate="dwithin", distance=ROUND_M / 10)
        n_ends[several] = np.bincount(part[area[several[part]] == owner[piece]], minlength=len(several))
    length_m = shapely.length(shapely.boundary(shapely.convex_hull(shapes))) / 2
    is_narrow = (length_m > TIP_WIDTHS * width_m[area]) | (n_ends != 1)
    is_narrow &= (shapely.get_dimensions(shapes) == 2) & (shapely.area(shapes) > LEAST_M2)
    return _Parts(shapes[is_narrow], area[is_narrow], broad[area[is_narrow]], n_ends[is_narrow])


def _told_apart(areas: Shapes, width_m: NDArray[np.float64], known: _Known) -> tuple[Shapes, Shapes]:
    """(n,) what of each area lies beyond what `_reached` gives, and what within; buffers take long, so once an area."""
    keys = [(id(area), width) for area, width in zip(areas, width_m.tolist(), strict=True)]
    new = [number for number, key in enumerate(keys) if key not in known]
    reached = _reached(areas[new], width_m[new])
    beyond, broad = shapely.difference(areas[new], reached), shapely.intersection(areas[new], reached)
    known |= {keys[number]: (areas[number], beyond[place], broad[place]) for place, number in enumerate(new)}
    found = np.array([known[key][1:] for key in keys], np.object_).reshape(-1, 2)
    return found[:, 0], found[:, 1]


def _cut_of(parts: _Parts, width_m: NDArray[np.float64], *, keeps_tips: bool) -> Shapes:
    """(n,) what goes of each part: all of an area that is nowhere broad, else what lies beyond the tips that stay."""
    if not keeps_tips:
        return parts.shapes
    corners, part = shapely.get_coordinates(parts.shapes, return_index=True)
    # An area that is nowhere broad goes whole, whatever its way to nothing is.
    away_m = np.nan_to_num(shapely.distance(shapely.points(corners), parts.broad[part]))
    furthest_m = np.zeros(len(parts.shapes))
    np.maximum.at(furthest_m, part, away_m)
    kept_m = KEPT_WIDTHS * width_m
    kept_m = np.where(parts.n_ends > 1, np.clip(furthest_m - GAP_M / 2, 0, kept_m), kept_m)
    near = shapely.buffer(parts.broad, kept_m)
    beyond = shapely.difference(parts.shapes, near)
    is_whole = (parts.n_ends == 0) | (kept_m <= 0) | shapely.is_empty(beyond)
    return np.where(is_whole, parts.shapes, beyond)


def _given_away(areas: Shapes, cut: Shapes, owner: Rows, may_take: NDArray[np.bool_]) -> Shapes:
    """(n,) areas with the cut parts given to those that may take them with which they share most border, or to none.

    All edges are laid into one net first, so that areas on both sides of an edge get the same vertices.
    """
    net = _Net.of(areas, cut, owner)
    faces, held = net.faces, net.held.copy()
    pieces, part = shapely.get_parts(cut, return_index=True)
    cut_face, piece = shapely.STRtree(pieces).query(net.inside, predicate="intersects")
    of_owner = held[cut_face, owner[part[piece]]]
    cut_face, piece = cut_face[of_owner], piece[of_owner]
    loser = owner[part[piece]]
    host = _hosts(faces, held & may_take, cut_face, piece, loser)
    held[cut_face, loser] = False
    held[cut_face[host >= 0], host[host >= 0]] = True
    return net.drawn(areas, held)


def _hosts(faces: Shapes, held: NDArray[np.bool_], cut_face: Rows, piece: Rows, loser: Rows) -> Rows:
    """(m,) area that each cut face goes to, all faces of a piece to one; -1 for white."""
    piece_of = np.full(len(faces), -1)
    piece_of[cut_face] = piece
    one, other = shapely.STRtree(faces).query(faces[cut_face], predicate="intersects")
    apart = piece_of[other] != piece[one]
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


def _reached(areas: Shapes, width_m: NDArray[np.float64]) -> Shapes:
    """What discs of that width reach that lie wholly in an area, and ROUND_M more."""
    core = shapely.buffer(areas, -width_m / 2, quad_segs=CORNERS)
    return np.asarray(shapely.buffer(core, width_m / 2 + ROUND_M, quad_segs=CORNERS), np.object_)
