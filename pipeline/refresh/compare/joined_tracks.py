"""Pieces of one track: a bench is cut where the ground slopes, and does not show where it is level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

Place = NDArray[np.float64]
"""(2,) east and north in metres, of a place or of a direction."""
PIECE_LEAST_M, PIECE_STRETCH = 10.0, 2.5
"""A piece of changed ground has a direction where it is so long and so many times as long as wide. Our choice."""
GAP_M, TURN_DEG = 45.0, 35.0
"""Pieces go on in one another across so long a gap, in metres, and so sharp a turn: the radius of a forest road is
20 m and more (common practice, no source), and level ground needs no cut."""

ASIDE_RATIO = 0.1
"""How far beside the axis of a piece, for each metre ahead, another may lie that it points at: so much is the direction
of a piece 10 m long and 2 m wide uncertain. Our choice."""


@dataclass(frozen=True)
class _Axis:
    """The long axis of a piece: its ends and its direction."""

    ends: NDArray[np.float64]
    along: Place


def joined(pieces: Sequence[BaseGeometry], /, *, width_m: float) -> list[tuple[BaseGeometry, list[int]]]:
    """Pieces that go on in one another, joined by a strip of this width: the shape, and which pieces it is made of.

    A piece that none goes on from stands alone. Between two pieces the strip bends as their directions do; a piece too
    short to have a direction belongs to a long one that points at it.
    """
    axes = [_axis(piece) for piece in pieces]
    links: list[tuple[int, int]] = []
    strips: list[BaseGeometry] = []
    for i, first in enumerate(axes):
        for j in range(i):
            strip = _between(first, axes[j], width_m) or _onto(first, pieces[j], axes[j], width_m)
            strip = strip or _onto(axes[j], pieces[i], first, width_m)
            if strip is not None:
                links.append((i, j))
                strips.append(strip)
    rows, cols = np.array(links, np.int64).reshape(-1, 2).T
    graph = coo_array((np.ones(len(links)), (rows, cols)), shape=(len(pieces), len(pieces)))
    n, group = connected_components(graph, directed=False)
    found = []
    for number in range(n):
        members = np.flatnonzero(group == number).tolist()
        between = [strip for (i, _), strip in zip(links, strips, strict=True) if group[i] == number]
        found.append((shapely.union_all([*(pieces[k] for k in members), *between]), members))
    return found


def length_of(shape: BaseGeometry, /) -> float:
    """How long a strip is, whatever its bends: half of its rim, less its ends."""
    width_m = shape.area / max(shape.length / 2, 1e-6)
    return max(shape.length / 2 - width_m, 0.0)


def _axis(piece: BaseGeometry) -> _Axis | None:
    """The long axis, or None for a piece without a direction."""
    frame = shapely.get_coordinates(shapely.minimum_rotated_rectangle(piece))
    if len(frame) < 5:
        return None
    sides = np.diff(frame[:3], axis=0)
    length, width = (float(np.hypot(*side)) for side in sides)
    long = 0 if length >= width else 1
    length, width = max(length, width), min(length, width)
    if length < PIECE_LEAST_M or length < PIECE_STRETCH * width:
        return None
    middle, half = frame[:4].mean(axis=0), sides[long] / 2
    return _Axis(np.array([middle - half, middle + half]), half / np.hypot(*half))


def _between(one: _Axis | None, other: _Axis | None, width_m: float) -> BaseGeometry | None:
    """The strip from one piece to the next, or None where they do not go on in one another."""
    if one is None or other is None:
        return None
    apart = np.linalg.norm(one.ends[:, None] - other.ends[None], axis=2)
    i, j = np.unravel_index(int(np.argmin(apart)), apart.shape)
    step = other.ends[j] - one.ends[i]
    away = float(np.hypot(*step))
    if away > GAP_M:
        return None
    outward = [one.along * (1 if i == 1 else -1), -other.along * (1 if j == 1 else -1)]
    least = float(np.cos(np.radians(TURN_DEG)))
    is_straight = away < width_m or all(float(step @ way) >= least * away for way in outward)
    if not is_straight or float(outward[0] @ outward[1]) < least:
        return None
    return _bend(one.ends[i], outward[0], other.ends[j], outward[1]).buffer(width_m / 2)


def _bend(start: Place, ahead: Place, end: Place, onward: Place) -> LineString:
    """A smooth line from one place to another with these directions at its ends: a cubic curve of Hermite's kind."""
    t = np.linspace(0, 1, 9)[:, None]
    reach = float(np.hypot(*(end - start)))
    way = (1 + 2 * t) * (1 - t) ** 2 * start + t**2 * (3 - 2 * t) * end
    return LineString(way + reach * t * (1 - t) * ((1 - t) * ahead - t * onward))


def _onto(one: _Axis | None, piece: BaseGeometry, axis: _Axis | None, width_m: float) -> BaseGeometry | None:
    """The strip from a long piece to a short one that lies straight ahead of it, or None where it does not."""
    if one is None or axis is not None or piece.is_empty:
        return None
    middle = shapely.get_coordinates(piece.centroid)[0]
    for end, ahead in zip(one.ends, (-one.along, one.along), strict=True):
        along = float((middle - end) @ ahead)
        aside = abs(float((middle - end) @ np.array([-ahead[1], ahead[0]])))
        if 0 < along <= GAP_M and aside <= width_m / 2 + ASIDE_RATIO * along:
            return LineString([end, middle]).buffer(width_m / 2)
    return None
