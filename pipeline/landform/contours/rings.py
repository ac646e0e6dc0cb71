"""Closed contours that are too small to draw: enlarged within what the standard allows, or left out."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.landform.contours.isolines import trace_contours
from pipeline.landform.contours.legibility import close_approaches
from pipeline.landform.contours.limits import ALLOWED_SHIFT_SHARE, CONTOURS_APART_M
from pipeline.landform.lines.lines import enclose_higher, encloses_higher, is_closed, ring_sizes_m, thin_vertices
from pipeline.lattice.grid import EastNorth, Grid, Heights, Mask
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom


def least_ring_m(symbol: str, /, *, higher: bool) -> tuple[float, float]:
    """Length and width on the ground of the smallest closed line of a symbol around a hill, or around a hollow.

    The norm measures over all, so the line's own width is taken off. Form lines (103) have no least width of their own;
    that of contours (101) holds for them.
    """
    line, contour, inside = isom(symbol), isom("101"), "hill" if higher else "hollow"
    length_mm, width_mm = line.mm(f"min_{inside}_length_mm"), contour.mm(f"min_{inside}_width_mm")
    return ground_m(length_mm - line.mm("line_mm")), ground_m(width_mm - line.mm("line_mm"))


def large_enough(ring: EastNorth, /, *, symbol: str = "101") -> bool:
    """Whether a closed contour or form line is large enough to be read as a hill or a hollow."""
    return bool(are_large_enough([ring], symbol=symbol)[0])


def are_large_enough(rings: list[EastNorth], /, *, symbol: str = "101") -> Mask:
    """(n,) bool: which closed contours or form lines are large enough to be read as a hill or a hollow."""
    least_m = np.array([least_ring_m(symbol, higher=higher) for higher in (False, True)])
    return np.asarray((ring_sizes_m(rings) >= least_m[enclose_higher(rings).astype(np.int64)]).all(axis=1))


def are_small_rings(lines: list[EastNorth], /) -> Mask:
    """(n,) bool: which contours are closed and too small to be read as a hill or a hollow."""
    small = np.array([is_closed(line) for line in lines], bool)
    small[small] = ~are_large_enough([lines[number] for number in np.flatnonzero(small)])
    return small


SHIFT_STEPS = 4
"""Steps in which a contour is traced lower or higher until its ring is large enough; the smallest step that suffices
is taken (our choice)."""


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
    window, cells = _around(ring, surface, grid, margin_m=4 * isom("101").ground_m("min_hollow_length_mm"))
    for step in range(1, SHIFT_STEPS + 1):
        shifted_m = level_m + downward * max_shift_m * step / SHIFT_STEPS
        for line in trace_contours(window, cells, np.array([shifted_m]))[0]:
            if not is_closed(line) or encloses_higher(line) != encloses_higher(ring):
                continue
            (thin,) = thin_vertices([line], spacing_m=spacing_m)
            is_same_hill = shapely.Polygon(line).contains(middle)
            if is_same_hill and large_enough(thin) and not _has_neck(thin):
                return thin
    return None


def _has_neck(ring: EastNorth, /) -> bool:
    """Whether two parts of a ring come nearer than contours may."""
    return len(close_approaches([ring], apart_m=CONTOURS_APART_M)[0]) > 0


def _around(ring: EastNorth, surface: Heights, grid: Grid, /, *, margin_m: float) -> tuple[Heights, Grid]:
    """The part of the surface around a ring, and its grid."""
    margin = int(np.ceil(margin_m / grid.cell_m))
    window = grid.window_around((*ring.min(axis=0), *ring.max(axis=0)), margin_cells=margin)
    return surface[window], grid.part(window)


MIN_OPEN_CONTOUR_MM = 0.6
"""Length on the map below which a stub of a contour, cut off at the edge of the survey, is left out (our choice)."""


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
    small = are_small_rings(lines)
    least_m = ground_m(MIN_OPEN_CONTOUR_MM)
    stub = [not is_closed(line) and float(np.hypot(*np.diff(line, axis=0).T).sum()) < least_m for line in lines]
    drawn = ~(small | np.array(stub, bool))
    kept = [line for line, is_drawn in zip(lines, drawn, strict=True) if is_drawn]
    kept_at = elevation_m[drawn].tolist()
    tree = shapely.STRtree([shapely.LineString(line) for line in kept])
    added: list[shapely.LineString] = []
    for line, height, is_small in zip(lines, elevation_m, small, strict=True):
        if not is_small:
            continue
        # Calming has lowered the hill already, so that the ground itself is missed by less than this shift.
        larger = enlarge_ring(
            line, float(height), surface, grid, max_shift_m=ALLOWED_SHIFT_SHARE * interval_m, spacing_m=spacing_m
        )
        if larger is None:
            continue
        ring = shapely.LineString(larger)
        is_free = not len(tree.query(ring, predicate="dwithin", distance=CONTOURS_APART_M))
        if is_free and all(ring.distance(other) >= CONTOURS_APART_M for other in added):
            added.append(ring)
            kept.append(larger)
            kept_at.append(height)
    return kept, np.array(kept_at, np.float64)
