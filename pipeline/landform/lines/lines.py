"""What a line on the map looks like: closed or open, how large, and how many vertices it needs."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.landform.lines.squares import in_squares
from pipeline.lattice.grid import EastNorth


def is_closed(line: EastNorth, /) -> bool:
    """Whether a line ends where it began."""
    return len(line) > 3 and bool(np.array_equal(line[0], line[-1]))


def along_line(line: EastNorth, along_m: NDArray[np.float64], /) -> EastNorth:
    """(n, 2) float64 places at these distances from the beginning of a line."""
    way_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    return np.column_stack([np.interp(along_m, way_m, line[:, axis]) for axis in (0, 1)])


def encloses_higher(ring: EastNorth, /) -> bool:
    """Whether a ring with the higher ground on its left runs around a hill, not around a hollow."""
    return bool(shapely.is_ccw(shapely.linearrings(ring)))


def ring_size_m(ring: EastNorth, /) -> tuple[float, float]:
    """Length and width of the narrowest rectangle around a ring."""
    box = shapely.oriented_envelope(shapely.linearrings(ring))
    corners = shapely.get_coordinates(box)
    if len(corners) < 5:
        return float(shapely.length(box)), 0.0
    sides = np.hypot(*np.diff(corners[:3], axis=0).T)
    return float(sides.max()), float(sides.min())


VERTEX_TOLERANCE_M = 0.1
"""Vertices without which the line moves by less than this are dropped; far less than its own width, 2 m (our
choice)."""


def thin_vertices(line: EastNorth, /, *, spacing_m: float) -> EastNorth:
    """The line with vertices at least `spacing_m` apart, and none without which it would look the same.

    The tip of every sharp bend gets a vertex, so that no re-entrant or spur is cut short. Between tips vertices are put
    at equal steps along the line, then those on straight pieces go (Douglas and Peucker 1973). Each piece of the line
    between the sides of the fixed squares is thinned by itself and keeps its ends, which may lie nearer than
    `spacing_m` to the next vertex: so the vertices in a square depend on the line in that square alone.
    """
    pieces, _ = in_squares([line])
    spaced = [_spaced_out(piece, spacing_m=spacing_m) for piece in pieces]
    simple = shapely.simplify(shapely.linestrings(np.concatenate(spaced), indices=_numbers(spaced)), VERTEX_TOLERANCE_M)
    places, number = shapely.get_coordinates(simple, return_index=True)
    # Each piece begins where the one before ends.
    is_first = np.diff(number, prepend=-1) != 0
    return np.asarray(places[~is_first | (number == 0)])


def _numbers(parts: list[EastNorth]) -> NDArray[np.int64]:
    """Which part each row belongs to once they are put one after the other."""
    return np.repeat(np.arange(len(parts)), [len(part) for part in parts])


def _spaced_out(line: EastNorth, /, *, spacing_m: float) -> EastNorth:
    """The line with vertices at its tips and at equal steps between them."""
    breaks = [line[:1], *_split_at_tips(line, spacing_m=spacing_m)]
    return np.concatenate([breaks[0], *(_evenly_spaced(piece, spacing_m=spacing_m)[1:] for piece in breaks[1:])])


def _evenly_spaced(line: EastNorth, /, *, spacing_m: float) -> EastNorth:
    """The line with vertices at equal steps, at least `spacing_m` apart."""
    length_m = float(np.hypot(*np.diff(line, axis=0).T).sum())
    # A step along a bent line spans a little less than its length; 2 % more makes up for it.
    n_steps = max(int(length_m / (spacing_m * 1.02)), 4 if is_closed(line) else 1)
    even = along_line(line, np.linspace(0, length_m, n_steps + 1))
    even[0], even[-1] = line[0], line[-1]
    kept = [0]
    for vertex in range(1, n_steps):
        # Around a sharp bend two steps along the line can be nearer than one step to each other.
        near_last, near_end = (np.hypot(*(even[vertex] - even[other])) < spacing_m for other in (kept[-1], n_steps))
        if not near_last and not near_end:
            kept.append(vertex)
    return even[[*kept, n_steps]]


STEPS_PER_SPACING = 4
"""Places at which tips of bends are looked for, per vertex that will be drawn (our choice)."""
LEAST_SPACINGS = 4
"""Length, in vertex spacings, below which a line is too short to have a tip of its own (our choice)."""


def _split_at_tips(line: EastNorth, /, *, spacing_m: float) -> list[EastNorth]:
    """The line cut at the tips of its sharp bends; each piece begins where the one before ends."""
    length_m = float(np.hypot(*np.diff(line, axis=0).T).sum())
    n_steps = int(length_m / spacing_m * STEPS_PER_SPACING)
    if n_steps < LEAST_SPACINGS * STEPS_PER_SPACING:
        return [line]
    along_m = np.linspace(0, length_m, n_steps + 1)
    tips = _tips(along_line(line, along_m))
    if not len(tips):
        return [line]
    way_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    ends_m = np.concatenate([[0.0], along_m[tips], [length_m]])
    places = along_line(line, ends_m)
    places[0], places[-1] = line[0], line[-1]
    return [
        np.concatenate([places[[n]], line[(way_m > ends_m[n]) & (way_m < ends_m[n + 1])], places[[n + 1]]])
        for n in range(len(tips) + 1)
    ]


SHARP_BEND_SHARE = 0.25
"""How far a tip must stand out from the middle of a chord of two vertex spacings, as a share of one spacing: bends
with a radius of less than two spacings do (our choice)."""


def _tips(dense: EastNorth, /) -> NDArray[np.int64]:
    """Numbers of the vertices of an evenly dense line that are tips, in order, at least a spacing apart.

    A tip stands out farthest from the middle between the places one spacing before and after it, and by at least
    `SHARP_BEND_SHARE` of a spacing.
    """
    reach = STEPS_PER_SPACING
    out = np.zeros(len(dense))
    out[reach:-reach] = np.hypot(*(dense[reach:-reach] - (dense[: -2 * reach] + dense[2 * reach :]) / 2).T)
    spacing_m = reach * float(np.median(np.hypot(*np.diff(dense, axis=0).T)))
    peak = (ndimage.maximum_filter1d(out, 2 * reach + 1) == out) & (out >= SHARP_BEND_SHARE * spacing_m)
    kept = [0, len(dense) - 1]
    for candidate in np.flatnonzero(peak)[np.argsort(-out[peak], kind="stable")]:
        beside = [max(n for n in kept if n <= candidate), min(n for n in kept if n >= candidate)]
        if np.hypot(*(dense[beside] - dense[candidate]).T).min() >= 1.02 * spacing_m:
            kept.append(int(candidate))
    return np.array(sorted(kept[2:]), np.int64)
