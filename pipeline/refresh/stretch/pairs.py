"""Places of a map and of a draft that show the same thing."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.borrowed.families import family_of as thing_of
from pipeline.marks.matching import family_of

Numbers = NDArray[np.float64]

STEP_M = 5.0
"""Distance of the places along a line that are looked at, in metres (our choice)."""
ALIKE_M = 20.0
"""Along one line, what two drawings of it differ by is much the same over such a length, in metres: the places on it
count as one observation (our choice)."""
MOST_TURN = 0.82
"""Cosine of the largest angle, 35 degrees, between two lines that are one thing at a place (our choice)."""
LINE_ERROR_M = {
    "building": 1.0,
    "way": 2.0,
    "wall": 1.5,
    "watercourse": 2.0,
    "water body": 2.0,
    "cliff": 2.0,
    "contour": 5.0,
    "bank": 2.5,
}
"""What a line of a map is off by that is drawn right, in metres, by what it shows: contours are drawn by eye and made
simple (common practice, no source). Other lines and rims, such as those of greens, tell nothing: people and lidar draw
them in different places."""
POINT_ERROR_M = 2.5
"""The same for points, metres (common practice, no source)."""
BANKS, CONTOURS = ("104", "105", "106", "107", "108"), ("101", "102", "103")
POINTS = ("109", "111", "115", "203", "204", "312", "417", "524", "525", "526", "527")
"""Kinds of points that both may show: land-form, boulders, trees, man-made things that stand up."""


@dataclass(frozen=True)
class Places:
    """Places along lines, and points, of one map.

    Attributes
    ----------
    at : (n, 2) east, north in metres
    way : (n, 2) direction of the line there, of length 1; 0 for a point
    kind : (n,) what it shows
    error_m : (n,) what it may be off by
    weight : (n,) how many observations it counts as: places along one line are alike
    """

    at: Numbers
    way: Numbers
    kind: NDArray[np.str_]
    error_m: Numbers
    weight: Numbers

    def __len__(self) -> int:
        return len(self.at)

    def only(self, rows: NDArray[np.bool_], /) -> Places:
        """Some of the places."""
        return Places(self.at[rows], self.way[rows], self.kind[rows], self.error_m[rows], self.weight[rows])


@dataclass(frozen=True)
class Pairs:
    """Places of the map and what the draft shows there.

    Attributes
    ----------
    place : (k,) numbers of places of the map
    off : (k, 2) from the place, as laid, to the same thing in the draft, metres
    across : (k, 2) the direction in which `off` says something, of length 1: across a line
    """

    place: NDArray[np.intp]
    off: Numbers
    across: Numbers


def places_of(features: gpd.GeoDataFrame, /) -> Places:
    """The places of a map that can be found again in another one.

    Parameters
    ----------
    features : single geometries with `symbol`
    """
    shapes, symbols = features.geometry.to_numpy(), features["symbol"].astype(str).to_numpy(object)
    kinds = np.array([_kind_of(str(symbol), shape) for symbol, shape in zip(symbols, shapes, strict=True)], dtype=str)
    is_point = np.char.startswith(kinds, "point")
    lines = [
        shape.boundary if shapely.get_dimensions(shape) == 2 else shape for shape in shapes[~is_point & (kinds != "")]
    ]
    along = [_along(line, kind) for line, kind in zip(lines, kinds[~is_point & (kinds != "")], strict=True)]
    points = shapely.get_coordinates(shapes[is_point])
    single = Places(
        points, np.zeros_like(points), kinds[is_point], np.full(len(points), POINT_ERROR_M), np.ones(len(points))
    )
    return _joined([single, *along])


def _kind_of(symbol: str, shape: shapely.Geometry) -> str:
    """What a feature shows, "" where it is of no use for finding a map's place."""
    main = symbol.partition(".")[0]
    if shapely.get_dimensions(shape) == 0:
        return f"point {family_of(symbol)}" if family_of(symbol) in POINTS else ""
    if main in CONTOURS:
        return "contour"
    if main in BANKS:
        return "bank"
    thing = thing_of(symbol)
    if shapely.get_dimensions(shape) == 2 and thing == "way":
        return ""
    return thing if thing in LINE_ERROR_M and main != "508" else ""


def _along(line: shapely.Geometry, kind: str) -> Places:
    """Places along a line, in the middle of pieces of about STEP_M."""
    parts = [part for part in shapely.get_parts(line) if part.length > 0]
    found = []
    for part in parts:
        n = max(1, round(part.length / STEP_M))
        middle_m = (np.arange(n) + 0.5) * part.length / n
        reach_m = min(STEP_M, part.length / 2)
        at = shapely.get_coordinates(shapely.line_interpolate_point(part, middle_m))
        ahead = shapely.get_coordinates(
            shapely.line_interpolate_point(part, np.minimum(middle_m + reach_m, part.length))
        )
        behind = shapely.get_coordinates(shapely.line_interpolate_point(part, np.maximum(middle_m - reach_m, 0.0)))
        way = ahead - behind
        size = np.hypot(*way.T)
        way = np.divide(way, size[:, None], out=np.zeros_like(way), where=size[:, None] > 0)
        weight = np.full(n, max(part.length / ALIKE_M, 1.0) / n)
        found.append(Places(at, way, np.full(n, kind), np.full(n, LINE_ERROR_M[kind]), weight))
    return _joined(found)


def _joined(parts: list[Places]) -> Places:
    filled = [part for part in parts if len(part)]
    if not filled:
        none = np.empty((0, 2))
        return Places(none, none, np.empty(0, np.str_), np.empty(0), np.empty(0))
    return Places(
        np.concatenate([part.at for part in filled]),
        np.concatenate([part.way for part in filled]),
        np.concatenate([part.kind.astype(np.str_) for part in filled]),
        np.concatenate([part.error_m for part in filled]),
        np.concatenate([part.weight for part in filled]),
    )


def find_pairs(old: Places, laid: Numbers, new: Places, /, *, reach_m: float) -> Pairs:
    """For each place of the map the nearest one of the draft that shows the same thing and runs the same way.

    Parameters
    ----------
    laid : (n, 2) where the places of the map are taken to lie
    reach_m : how far off the same thing may be
    """
    rows, offs, across = [], [], []
    for kind in np.unique(old.kind):
        mine, theirs = np.flatnonzero(old.kind == kind), np.flatnonzero(new.kind == kind)
        if not len(theirs):
            continue
        tree = cKDTree(new.at[theirs])
        near = tree.query(laid[mine], k=min(8, len(theirs)), distance_upper_bound=reach_m + STEP_M)[1]
        near = near.reshape(len(mine), -1)
        off, normal, is_good = _best(laid[mine], old.way[mine], new, theirs, near, reach_m)
        rows.append(mine[is_good])
        offs.append(off[is_good])
        across.append(normal[is_good])
    if not rows:
        return Pairs(np.empty(0, np.intp), np.empty((0, 2)), np.empty((0, 2)))
    return Pairs(np.concatenate(rows), np.concatenate(offs), np.concatenate(across))


def _best(
    at: Numbers, way: Numbers, new: Places, theirs: NDArray[np.intp], near: NDArray[np.intp], reach_m: float
) -> tuple[Numbers, Numbers, NDArray[np.bool_]]:
    """Of several near places the one that is least off across the line; and whether there is one."""
    there = near < len(theirs)
    chosen = theirs[np.where(there, near, 0)]
    off = new.at[chosen] - at[:, None, :]
    their_way = new.way[chosen]
    is_line = (np.abs(way).sum(axis=1) > 0)[:, None] & (np.abs(their_way).sum(axis=2) > 0)
    normal = np.stack([-their_way[..., 1], their_way[..., 0]], axis=-1)
    across_m = np.where(is_line, np.abs((off * normal).sum(axis=2)), np.hypot(off[..., 0], off[..., 1]))
    along_m = np.where(is_line, np.abs((off * their_way).sum(axis=2)), 0.0)
    is_fit = there & (across_m <= reach_m) & (along_m <= STEP_M)
    is_fit &= ~is_line | (np.abs((way[:, None, :] * their_way).sum(axis=2)) >= MOST_TURN)
    best = np.argmin(np.where(is_fit, across_m, np.inf), axis=1)
    row = np.arange(len(at))
    return off[row, best], np.where(is_line[row, best][:, None], normal[row, best], 0.0), is_fit[row, best]
