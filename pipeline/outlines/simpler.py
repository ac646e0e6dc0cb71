"""Lines cut and made simpler in a way that depends on the ground around each vertex only.

Douglas and Peucker's method looks for the vertex farthest from the line between the two ends, so one line that is cut
at another place, or a ring that starts elsewhere, keeps other vertices. Two fields (`pipeline.lattice.fields`) that see
different lengths of one line would then draw it differently where they meet.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon

Coordinates = NDArray[np.float64]
SQUARE_M = 50.0
"""Side of the squares that a line is cut by, in metres; a field's side is a multiple of it. A vertex stays on each side
that a line crosses, so that small squares leave more vertices, and a line is only sure to be the same from the first
square on that lies wholly within the window. Our choice."""


def with_crossings(line: Coordinates, /, *, easts: Coordinates, norths: Coordinates) -> Coordinates:
    """(m, 2) a line with a vertex wherever it crosses one of the given eastings or northings.

    The new vertices depend on the two ends of their segment alone, not on which way the line runs, so that all who cut
    the same segment get the same vertex to the last bit. The coordinate that is crossed is met exactly.

    Parameters
    ----------
    line : (n, 2)
    easts, norths : (k,) metres
    """
    start, end = line[:-1], line[1:]
    is_turned = (start[:, 0] > end[:, 0]) | ((start[:, 0] == end[:, 0]) & (start[:, 1] > end[:, 1]))
    low, high = np.where(is_turned[:, None], end, start), np.where(is_turned[:, None], start, end)
    found, of_segment, share = [line], [np.arange(len(line))], [np.zeros(len(line))]
    for axis, borders in ((0, easts), (1, norths)):
        lower, upper = np.minimum(low[:, axis], high[:, axis]), np.maximum(low[:, axis], high[:, axis])
        ordered = np.sort(borders)
        first, last = np.searchsorted(ordered, lower, side="right"), np.searchsorted(ordered, upper, side="left")
        n_crossed = np.maximum(last - first, 0)
        segment = np.repeat(np.arange(len(start)), n_crossed)
        if not len(segment):
            continue
        within = np.arange(len(segment)) - np.repeat(np.cumsum(n_crossed) - n_crossed, n_crossed)
        border = ordered[first[segment] + within]
        along = (border - low[segment, axis]) / (high[segment, axis] - low[segment, axis])
        place = low[segment] + along[:, None] * (high[segment] - low[segment])
        place[:, axis] = border
        found.append(place)
        of_segment.append(segment)
        share.append(np.where(is_turned[segment], 1 - along, along))
    order = np.lexsort((np.concatenate(share), np.concatenate(of_segment)))
    joined = np.concatenate(found)[order]
    is_new = np.r_[True, (np.diff(joined, axis=0) != 0).any(axis=1)]
    return joined[is_new]


def simplify_by_squares(line: Coordinates, tolerance_m: float, /, *, square_m: float = SQUARE_M) -> Coordinates:
    """(m, 2) a line with fewer vertices, none of those left out farther than the tolerance from what is drawn.

    It is cut where it crosses the sides of a fixed lattice of squares, and each piece is simplified by itself, so what
    is drawn in a square depends on the line in that square alone.

    Source
    ------
    Douglas and Peucker (1973), doi:10.3138/FM57-6770-U75U-7727, within each square.
    """
    nodes = _with_sides(line, square_m)
    crossed = _crossed(nodes, square_m)
    is_ring = bool((line[0] == line[-1]).all())
    if is_ring and len(crossed):
        # Where a ring starts depends on what else of it was seen: it starts on the side of a square instead.
        nodes = np.concatenate((nodes[crossed[0] : -1], nodes[: crossed[0] + 1]))
        crossed = _crossed(nodes, square_m)
    cuts = np.r_[0, crossed, len(nodes) - 1]
    pieces = [LineString(nodes[a : b + 1]) for a, b in pairwise(cuts)]
    simple = [shapely.get_coordinates(piece) for piece in shapely.simplify(pieces, tolerance_m)]
    joined = np.concatenate([piece[:-1] for piece in simple] + [nodes[-1:]])
    return line if is_ring and len(joined) < 4 else joined


def _with_sides(line: Coordinates, square_m: float) -> Coordinates:
    """(m, 2) the line with a vertex on each side of a square that it crosses."""
    west, south = np.floor(line.min(axis=0) / square_m)
    east, north = np.ceil(line.max(axis=0) / square_m)
    easts, norths = np.arange(west, east + 1) * square_m, np.arange(south, north + 1) * square_m
    return with_crossings(line, easts=easts, norths=norths)


def places_along_line(line: Coordinates, apart_m: float, /, *, square_m: float = SQUARE_M) -> Coordinates:
    """(k, 2) places along a line, about so far apart, the first and the last half as far from its ends.

    They are counted from the sides of squares that the line crosses, not from where it begins: two fields that see
    different lengths of it look at the same places.
    """
    nodes = _with_sides(line, square_m)
    cuts = np.r_[0, _crossed(nodes, square_m), len(nodes) - 1]
    found = []
    for a, b in pairwise(cuts):
        piece = LineString(nodes[a : b + 1])
        n = max(1, round(piece.length / apart_m))
        found.append(shapely.get_coordinates(piece.interpolate((np.arange(n) + 0.5) / n, normalized=True)))
    return np.concatenate(found)


def _crossed(nodes: Coordinates, square_m: float) -> NDArray[np.intp]:
    """(k,) inner vertices at which a line comes from one square into another."""
    square = np.floor((nodes[:-1] + nodes[1:]) / 2 / square_m)
    return np.flatnonzero((np.diff(square, axis=0) != 0).any(axis=1)) + 1


def simplify_area_by_squares(area: Polygon, tolerance_m: float, /, *, square_m: float = SQUARE_M) -> list[Polygon]:
    """An area with simpler edges, as `simplify_by_squares` makes them; several where its parts hung by a thread."""
    rings = [shapely.get_coordinates(ring) for ring in (area.exterior, *area.interiors)]
    shell, *holes = [simplify_by_squares(ring, tolerance_m, square_m=square_m) for ring in rings]
    valid = shapely.make_valid(Polygon(shell, holes))
    return [part for part in shapely.get_parts(valid) if isinstance(part, Polygon)]
