"""What a line on the map looks like: closed or open, how large, and how many vertices it needs."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.landform.lines.squares import in_squares
from pipeline.lattice.grid import EastNorth


def is_closed(line: EastNorth, /) -> bool:
    """Whether a line ends where it began."""
    return len(line) > 3 and bool(np.array_equal(line[0], line[-1]))


def encloses_higher(ring: EastNorth, /) -> bool:
    """Whether a ring with the higher ground on its left runs around a hill, not around a hollow."""
    return bool(shapely.is_ccw(shapely.linearrings(ring)))


def enclose_higher(rings: list[EastNorth], /) -> NDArray[np.bool_]:
    """(n,) bool: which of some rings run around a hill, as `encloses_higher` tells of one."""
    return np.asarray(shapely.is_ccw(_as_rings(rings)), bool)


def ring_sizes_m(rings: list[EastNorth], /) -> NDArray[np.float64]:
    """(n, 2) length and width of the narrowest rectangle around each ring."""
    boxes = shapely.oriented_envelope(_as_rings(rings))
    corners, of_ring = shapely.get_coordinates(boxes, return_index=True)
    sizes_m = np.zeros((len(rings), 2))
    # Of a ring without any width the rectangle is a line or a place.
    sizes_m[:, 0] = shapely.length(boxes)
    first = np.searchsorted(of_ring, np.arange(len(rings)))
    is_box = np.bincount(of_ring, minlength=len(rings)) == 5
    at = first[is_box][:, None] + np.arange(2)
    sides_m = np.hypot(*np.moveaxis(corners[at + 1] - corners[at], -1, 0))
    sizes_m[is_box] = np.sort(sides_m, axis=1)[:, ::-1]
    return sizes_m


def _as_rings(rings: list[EastNorth]) -> NDArray[np.object_]:
    """(n,) linear rings."""
    if not rings:
        return np.empty(0, object)
    return np.asarray(shapely.linearrings(np.concatenate(rings), indices=_numbers(rings)), object)


VERTEX_TOLERANCE_M = 0.1
"""Vertices without which the line moves by less than this are dropped; far less than its own width, 2 m (our
choice)."""


def thin_vertices(lines: list[EastNorth], /, *, spacing_m: float) -> list[EastNorth]:
    """The lines with vertices at least `spacing_m` apart, and none without which a line would look the same.

    The tip of every sharp bend gets a vertex, so that no re-entrant or spur is cut short. Between tips vertices are put
    at equal steps along the line, then those on straight pieces go (Douglas and Peucker 1973). Each piece of a line
    between the sides of the fixed squares is thinned by itself and keeps its ends, which may lie nearer than
    `spacing_m` to the next vertex: so the vertices in a square depend on the line in that square alone.
    """
    pieces, of_line = in_squares(lines)
    if not pieces:
        return []
    spaced = [_spaced_out(np.ascontiguousarray(piece), spacing_m) for piece in pieces]
    simple = shapely.simplify(shapely.linestrings(np.concatenate(spaced), indices=_numbers(spaced)), VERTEX_TOLERANCE_M)
    places, number = shapely.get_coordinates(simple, return_index=True)
    # Each piece of a line begins where the one before ends.
    is_first = np.diff(number, prepend=-1) != 0
    begins_line = np.diff(of_line, prepend=-1) != 0
    kept = ~is_first | begins_line[number]
    places, line = places[kept], of_line[number[kept]]
    return np.split(places, np.searchsorted(line, np.arange(1, len(lines))))


def _numbers(parts: list[EastNorth]) -> NDArray[np.int64]:
    """Which part each row belongs to once they are put one after the other."""
    return np.repeat(np.arange(len(parts)), [len(part) for part in parts])


@compiled
def _spaced_out(line: EastNorth, spacing_m: float) -> EastNorth:
    """The line with vertices at its tips and at equal steps between them."""
    way_m = _way_along(line)
    n_steps = int(way_m[-1] / spacing_m * STEPS_PER_SPACING)
    ends_m = np.array([0.0, way_m[-1]])
    if n_steps >= LEAST_SPACINGS * STEPS_PER_SPACING:
        tips = _tips(_even(line, way_m, n_steps))
        ends_m = np.empty(len(tips) + 2)
        ends_m[0], ends_m[-1] = 0.0, way_m[-1]
        for number in range(len(tips)):
            ends_m[number + 1] = tips[number] * (way_m[-1] / n_steps)
    spaced = np.empty((int(way_m[-1] / spacing_m) + 4 * len(ends_m) + 4, 2))
    spaced[0], count, start = line[0], 1, line[0]
    for number in range(len(ends_m) - 1):
        is_last = number == len(ends_m) - 2
        end = line[-1] if is_last else _at(line, way_m, ends_m[number + 1])
        between = line[(way_m > ends_m[number]) & (way_m < ends_m[number + 1])]
        part = np.concatenate((start.reshape(1, 2), between, end.reshape(1, 2)))
        even = _evenly_spaced(part, spacing_m)
        spaced[count : count + len(even) - 1] = even[1:]
        count, start = count + len(even) - 1, end
    return spaced[:count]


@compiled
def _way_along(line: EastNorth) -> NDArray[np.float64]:
    """(n,) metres along a line from its first vertex to each."""
    way_m = np.zeros(len(line))
    for vertex in range(1, len(line)):
        step_m = np.hypot(line[vertex, 0] - line[vertex - 1, 0], line[vertex, 1] - line[vertex - 1, 1])
        way_m[vertex] = way_m[vertex - 1] + step_m
    return way_m


@compiled
def _at(line: EastNorth, way_m: NDArray[np.float64], along_m: float) -> EastNorth:
    """(2,) the place so far along a line."""
    vertex = min(max(int(np.searchsorted(way_m, along_m, side="right")) - 1, 0), len(line) - 2)
    length_m = way_m[vertex + 1] - way_m[vertex]
    share = 0.0 if length_m <= 0 else min((along_m - way_m[vertex]) / length_m, 1.0)
    place: EastNorth = line[vertex] + share * (line[vertex + 1] - line[vertex])
    return place


@compiled
def _even(line: EastNorth, way_m: NDArray[np.float64], n_steps: int) -> EastNorth:
    """(n_steps + 1, 2) places at equal steps along a line, its ends as they are."""
    even = np.empty((n_steps + 1, 2))
    for step in range(1, n_steps):
        even[step] = _at(line, way_m, step * (way_m[-1] / n_steps))
    even[0], even[-1] = line[0], line[-1]
    return even


@compiled
def _evenly_spaced(line: EastNorth, spacing_m: float) -> EastNorth:
    """The line with vertices at equal steps, at least `spacing_m` apart."""
    way_m = _way_along(line)
    is_ring = len(line) > 3 and line[0, 0] == line[-1, 0] and line[0, 1] == line[-1, 1]
    # A step along a bent line spans a little less than its length; 2 % more makes up for it.
    even = _even(line, way_m, max(int(way_m[-1] / (spacing_m * 1.02)), 4 if is_ring else 1))
    last, kept = len(even) - 1, 0
    for vertex in range(1, last):
        # Around a sharp bend two steps along the line can be nearer than one step to each other.
        if _apart_m(even, vertex, kept) >= spacing_m and _apart_m(even, vertex, last) >= spacing_m:
            kept += 1
            even[kept] = even[vertex]
    even[kept + 1] = even[last]
    return even[: kept + 2]


@compiled
def _apart_m(places: EastNorth, one: int, other: int) -> float:
    """Metres between two of some places."""
    return float(np.hypot(places[one, 0] - places[other, 0], places[one, 1] - places[other, 1]))


STEPS_PER_SPACING = 4
"""Places at which tips of bends are looked for, per vertex that will be drawn (our choice)."""
LEAST_SPACINGS = 4
"""Length, in vertex spacings, below which a line is too short to have a tip of its own (our choice)."""
SHARP_BEND_SHARE = 0.25
"""How far a tip must stand out from the middle of a chord of two vertex spacings, as a share of one spacing: bends
with a radius of less than two spacings do (our choice)."""


@compiled
def _tips(dense: EastNorth) -> NDArray[np.int64]:
    """Numbers of the vertices of an evenly dense line that are tips, in order, at least a spacing apart.

    A tip stands out farthest from the middle between the places one spacing before and after it, and by at least
    `SHARP_BEND_SHARE` of a spacing.
    """
    reach, n = STEPS_PER_SPACING, len(dense)
    out = np.zeros(n)
    for place in range(reach, n - reach):
        middle = (dense[place - reach] + dense[place + reach]) / 2
        out[place] = np.hypot(dense[place, 0] - middle[0], dense[place, 1] - middle[1])
    spacing_m = reach * float(np.median(_way_along(dense)[1:] - _way_along(dense)[:-1]))
    is_tip = np.zeros(n, np.bool_)
    is_tip[0], is_tip[-1] = True, True
    for place in np.argsort(-out, kind="mergesort"):
        if out[place] < SHARP_BEND_SHARE * spacing_m:
            break
        if out[place] < out[max(place - reach, 0) : place + reach + 1].max():
            continue
        before, after = place, place
        while not is_tip[before]:
            before -= 1
        while not is_tip[after]:
            after += 1
        nearest_m = min(_apart_m(dense, place, before), _apart_m(dense, place, after))
        is_tip[place] |= nearest_m >= 1.02 * spacing_m
    return np.flatnonzero(is_tip)[1:-1]
