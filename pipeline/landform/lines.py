"""What a line on the map looks like: closed or open, how large, and how many vertices it needs."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.grid import EastNorth


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


def thin_vertices(line: EastNorth, /, *, spacing_m: float, tolerance_m: float) -> EastNorth:
    """The line with vertices at least `spacing_m` apart and none that move it by less than `tolerance_m`.

    Vertices are put at equal steps along the line, which rounds what is sharper than the spacing, then those on
    straight pieces go (Douglas and Peucker 1973).
    """
    length_m = float(np.hypot(*np.diff(line, axis=0).T).sum())
    n_steps = max(int(length_m / (spacing_m * 1.02)), 4 if is_closed(line) else 1)
    even = along_line(line, np.linspace(0, length_m, n_steps + 1))
    even[0], even[-1] = line[0], line[-1]
    kept = [0]
    for vertex in range(1, n_steps):
        # Around a sharp bend two steps along the line can be nearer than one step to each other.
        near_last, near_end = (np.hypot(*(even[vertex] - even[other])) < spacing_m for other in (kept[-1], n_steps))
        if not near_last and not near_end:
            kept.append(vertex)
    spaced = even[[*kept, n_steps]]
    return np.asarray(shapely.get_coordinates(shapely.simplify(shapely.linestrings(spaced), tolerance_m)))
