"""Features that are drawn smaller than the norm allows: lengths, areas, widths, openings, rings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components
from shapely.geometry.base import BaseGeometry

from pipeline.audit.finding import TOLERANCE, Finding, falls_short
from pipeline.audit.printed import Printed

NETWORKS = (("304", "305", "306"), ("503", "504", "505", "506", "507"), ("508",), ("513", "514", "515"))
"""Lines that are read as one where they meet, such as a stream and the ditch that runs into it: their length counts
together (our choice)."""
MEETING_MM = 0.3
"""White on the sheet across which such lines are read as one (our choice): two cells of the lattice of 2 m that
running water is led over."""
CONTOURS = ("101", "102", "103")
ROUND_MM = 0.02
"""Roundness that corners keep when the narrow parts of an area are sought: less than a printer shows (our choice)."""
SLIVER_MM2 = 1e-6
"""A part, area or hole up to this size is the rounding of coordinates, 0.0002 m2 on the ground (our choice)."""


def main_number(one: Printed) -> str:
    """The symbol's number without its variant: 508 for 508.2."""
    return one.symbol.number.partition(".")[0]


def too_short(printed: Sequence[Printed], /) -> Iterator[Finding]:
    """Lines, lines that are read as one counted together, shorter than their symbol may be."""
    lines = [one for one in printed if one.kind == "line" and not (one.shape.is_ring and main_number(one) in CONTOURS)]
    length = _lengths_mm(lines)
    for one, found in zip(lines, length, strict=True):
        if one.symbol.has("min_length_mm") and falls_short(found, one.symbol.mm("min_length_mm")):
            yield _finding("length", one, one.symbol.mm("min_length_mm"), found)


def _lengths_mm(lines: Sequence[Printed]) -> np.ndarray:
    """(n,) length of each line and of those of its network that it meets."""
    length = np.array([one.shape.length for one in lines])
    for network in NETWORKS:
        which = np.flatnonzero([main_number(one) in network for one in lines])
        if not len(which):
            continue
        shapes = np.array([lines[int(row)].shape for row in which], np.object_)
        first, second = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=MEETING_MM)
        pairs = csr_array((np.ones(len(first)), (first, second)), shape=(len(which), len(which)))
        _, group = connected_components(pairs, directed=False)
        length[which] = np.bincount(group, weights=length[which])[group]
    return length


def too_small(printed: Sequence[Printed], /) -> Iterator[Finding]:
    """Areas smaller than their symbol may be, or nowhere as broad and long as its footprint."""
    for one in printed:
        if one.kind != "area" or one.shape.area <= SLIVER_MM2:
            continue
        symbol = one.symbol
        if symbol.has("min_area_mm2") and falls_short(one.shape.area, symbol.mm("min_area_mm2")):
            yield _finding("area", one, symbol.mm("min_area_mm2"), one.shape.area, unit="mm2")
        if symbol.has("min_length_mm"):
            found = _longest_mm(one.shape)
            if falls_short(found, symbol.mm("min_length_mm")):
                yield _finding("extent", one, symbol.mm("min_length_mm"), found)
        if symbol.has("min_breadth_mm"):
            found = _broadest_mm(one.shape)
            if falls_short(found, symbol.mm("min_breadth_mm")):
                yield _finding("extent", one, symbol.mm("min_breadth_mm"), found)


def _longest_mm(area: BaseGeometry) -> float:
    """Longer side of the smallest rectangle around an area."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(area))
    sides = np.hypot(*np.diff(corners, axis=0).T)
    return float(sides.max()) if len(sides) else 0.0


def _broadest_mm(area: BaseGeometry) -> float:
    """Diameter of the largest circle inside an area."""
    radius = shapely.maximum_inscribed_circle(np.array([area], np.object_), tolerance=0.01)[0]
    return 2 * float(radius.length)


def too_narrow(printed: Sequence[Printed], /) -> Iterator[Finding]:
    """Stretches of areas narrower than their symbol may be: necks, and what is long enough to be seen as a strip."""
    for one in printed:
        if one.kind != "area" or not one.symbol.has("min_width_mm"):
            continue
        asked = one.symbol.mm("min_width_mm")
        for part in _narrow_parts(one.shape, asked * (1 - TOLERANCE)):
            found = 2 * part.area / max(part.length, 1e-9)
            yield _finding("width", one, asked, min(found, asked), at=part)


TIP_WIDTHS = 3.0
"""Length, in least widths, up to which a narrow part with one end is the tip of an area and no strip (our choice)."""


def _narrow_parts(area: BaseGeometry, width_mm: float) -> list[BaseGeometry]:
    """Parts of an area that no disc of that width reaches, without corners and tips."""
    core = shapely.buffer(area, -(width_mm / 2))
    reached = shapely.buffer(core, width_mm / 2 + ROUND_MM)
    parts = shapely.get_parts(shapely.difference(area, reached))
    # Where edges run along each other there are lines and slivers of no area, which nobody prints.
    parts = parts[shapely.area(parts) > SLIVER_MM2]
    length = shapely.length(shapely.boundary(shapely.convex_hull(parts))) / 2
    broad = shapely.get_parts(shapely.intersection(area, reached))
    broad = broad[shapely.get_dimensions(broad) == 2]
    first, _ = shapely.STRtree(broad).query(parts, predicate="dwithin", distance=ROUND_MM / 10)
    sides = np.bincount(first, minlength=len(parts))
    is_narrow = (length > TIP_WIDTHS * width_mm) | (sides > 1) | (sides == 0)
    return [part for part, narrow in zip(parts, is_narrow, strict=True) if narrow]


def too_small_openings(printed: Sequence[Printed], /) -> Iterator[Finding]:
    """Holes of areas that stay white and are smaller than the norm lets an opening be."""
    areas = [one for one in printed if one.kind == "area"]
    if not areas:
        return
    shapes = np.array([one.shape for one in areas], object)
    tree = shapely.STRtree(shapes)
    for own, one in enumerate(areas):
        if not one.symbol.has("min_opening_mm2"):
            continue
        asked = one.symbol.mm("min_opening_mm2")
        rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(np.array([one.shape], np.object_))[1:]]
        holes = np.array([shapely.Polygon(ring) for ring in rings], np.object_)
        sizes = shapely.area(holes)
        for hole in holes[(sizes > SLIVER_MM2) & (sizes < asked * (1 - TOLERANCE))]:
            inside = [row for row in tree.query(hole, predicate="intersects") if row != own]
            left = shapely.difference(hole, shapely.union_all(shapes[inside])).area
            # What borders of two areas leave between them is no opening.
            if left > hole.area / 2:
                yield _finding("opening", one, asked, hole.area, unit="mm2", at=hole)


def too_small_rings(printed: Sequence[Printed], /) -> Iterator[Finding]:
    """Closed contours and form lines that show a hill or a hollow smaller, over all, than a closed line may."""
    for one in printed:
        if one.kind != "line" or main_number(one) not in CONTOURS or not one.shape.is_ring:
            continue
        # Contours run with the higher ground on their left: a hill is drawn counter-clockwise.
        what = "hill" if shapely.is_ccw(one.shape) else "hollow"
        sides = _sides_mm(one.shape) + one.symbol.mm("line_mm")
        for figure, found in zip((f"min_{what}_length_mm", f"min_{what}_width_mm"), sides, strict=True):
            if one.symbol.has(figure) and falls_short(found, one.symbol.mm(figure)):
                yield _finding("ring", one, one.symbol.mm(figure), found)


def _sides_mm(ring: BaseGeometry) -> np.ndarray:
    """Longer and shorter side of the smallest rectangle around a ring."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(ring))
    sides = np.hypot(*np.diff(corners, axis=0).T)
    return np.array([sides.max(), sides.min()]) if len(sides) else np.zeros(2)


def _finding(
    rule: str, one: Printed, asked: float, found: float, *, unit: str = "mm", at: BaseGeometry | None = None
) -> Finding:
    place = shapely.point_on_surface(one.shape if at is None else at)
    return Finding(rule, one.symbol.number, "", asked, float(found), unit, place)
