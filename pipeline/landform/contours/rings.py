"""Closed contours that are too small to draw: enlarged within what the standard allows, or left out."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.landform.contours.isolines import trace_contours
from pipeline.landform.contours.legibility import close_approaches
from pipeline.landform.contours.lines import encloses_higher, is_closed, ring_size_m, thin_vertices
from pipeline.lattice.grid import EastNorth, Grid, Heights
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom

MIN_CONTOUR_GAP_MM = 0.15
"""White between two contours (ISOM 2.6, from memory: thin brown lines 0.15)."""
CONTOUR_LINE_MM = isom("101").mm("line_mm")
"""Width of a contour (ISOM 101)."""
MIN_HILL_MM = (0.9, 0.6)
"""Length and width over all of the smallest hill drawn with a contour (ISOM 101)."""
MIN_HOLLOW_MM = (1.1, 0.7)
"""Length and width over all of the smallest hollow drawn with a contour (ISOM 101)."""
RING_SHIFT_SHARE = 0.25
"""Share of the interval a closed contour may be off to be large enough (ISOM 101: 25 %). Calming has already lowered
the hill, so the ground itself is missed by less."""
MIN_OPEN_CONTOUR_MM = 0.6
"""Shorter stubs of contours, cut off at the edge of the survey, are left out."""

# A shift is tried in this many steps, the smallest that suffices is taken.
SHIFT_STEPS = 4


def large_enough(ring: EastNorth, /) -> bool:
    """Whether a closed contour is large enough to be read as a hill or a hollow.

    The standard measures over all; the ring runs in the middle of its line.
    """
    length_mm, width_mm = MIN_HILL_MM if encloses_higher(ring) else MIN_HOLLOW_MM
    length_m, width_m = ring_size_m(ring)
    line_mm = CONTOUR_LINE_MM
    return length_m >= ground_m(length_mm - line_mm) and width_m >= ground_m(width_mm - line_mm)


def enlarge_ring(
    ring: EastNorth, level_m: float, surface: Heights, grid: Grid, /, *, max_shift_m: float, spacing_m: float
) -> EastNorth | None:
    """A large enough ring around the same hill or hollow, traced a little lower or higher; None where there is none.

    Parameters
    ----------
    max_shift_m : float
        How far from its own elevation the contour may be traced.
    spacing_m : float
        Least distance of two vertices of the ring.
    """
    downward = -1.0 if encloses_higher(ring) else 1.0
    middle = shapely.Point(ring.mean(axis=0))
    window, cells = _around(ring, surface, grid, margin_m=4 * ground_m(max(MIN_HOLLOW_MM)))
    for step in range(1, SHIFT_STEPS + 1):
        shifted_m = level_m + downward * max_shift_m * step / SHIFT_STEPS
        for line in trace_contours(window, cells, np.array([shifted_m]))[0]:
            if not is_closed(line) or encloses_higher(line) != encloses_higher(ring):
                continue
            thin = thin_vertices(line, spacing_m=spacing_m)
            is_same_hill = shapely.Polygon(line).contains(middle)
            if is_same_hill and large_enough(thin) and not _has_neck(thin):
                return thin
    return None


def _has_neck(ring: EastNorth, /) -> bool:
    """Whether two parts of a ring come nearer than contours may."""
    apart_m = ground_m(MIN_CONTOUR_GAP_MM + CONTOUR_LINE_MM)
    return len(close_approaches([shapely.LineString(ring)], apart_m=apart_m)[0]) > 0


def _around(ring: EastNorth, surface: Heights, grid: Grid, /, *, margin_m: float) -> tuple[Heights, Grid]:
    """The part of the surface around a ring, and its grid."""
    margin = int(np.ceil(margin_m / grid.cell_m))
    window = grid.window_around((*ring.min(axis=0), *ring.max(axis=0)), margin_cells=margin)
    return surface[window], grid.part(window)


def settle_rings(
    lines: list[EastNorth],
    elevation_m: NDArray[np.float64],
    surface: Heights,
    grid: Grid,
    /,
    *,
    interval_m: float,
    spacing_m: float,
) -> tuple[list[EastNorth], NDArray[np.float64]]:
    """The contours, vertices already thinned, with small rings enlarged where there is room, else left out.

    An enlarged ring must keep its distance from every other contour; it keeps the elevation it stands for. Stubs of
    contours that the edge of the survey or a void cuts off are left out too.
    """
    small = [is_closed(line) and not large_enough(line) for line in lines]
    least_m = ground_m(MIN_OPEN_CONTOUR_MM)
    stub = [not is_closed(line) and float(np.hypot(*np.diff(line, axis=0).T).sum()) < least_m for line in lines]
    drawn = ~(np.array(small, bool) | np.array(stub, bool))
    kept = [line for line, is_drawn in zip(lines, drawn, strict=True) if is_drawn]
    kept_at = elevation_m[drawn].tolist()
    apart_m = ground_m(MIN_CONTOUR_GAP_MM + CONTOUR_LINE_MM)
    tree = shapely.STRtree([shapely.LineString(line) for line in kept])
    added: list[shapely.LineString] = []
    for line, height, is_small in zip(lines, elevation_m, small, strict=True):
        if not is_small:
            continue
        larger = enlarge_ring(
            line, float(height), surface, grid, max_shift_m=RING_SHIFT_SHARE * interval_m, spacing_m=spacing_m
        )
        if larger is None:
            continue
        ring = shapely.LineString(larger)
        is_free = not len(tree.query(ring, predicate="dwithin", distance=apart_m))
        if is_free and all(ring.distance(other) >= apart_m for other in added):
            added.append(ring)
            kept.append(larger)
            kept_at.append(height)
    return kept, np.array(kept_at, np.float64)
