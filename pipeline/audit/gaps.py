"""Symbols of one colour that lie nearer to each other than the norm allows, and obstacles without a way between."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pipeline.audit.finding import TOLERANCE, Finding
from pipeline.audit.printed import Printed
from pipeline.audit.sizes import CONTOURS, main_number

SLOPE_LINE = "101.1"
TAGGED = ("104", "201", "202")
"""Lines with tags on one side. A contour may run on below the tags, which stand for the whole face."""
IMPASSABLE = ("201", "206", "301", "307", "515", "518", "521", "529")
"""What nobody may or can cross: whatever is printed between two of them must be seen to be a way."""
GIGANTIC = "206"
TOUCH_MM = 0.02
"""White below which two symbols are seen to touch (our choice): less than a printer shows."""
SEEN_MM = 0.05
"""White that is seen between a point and what it must not touch, such as a knoll and a contour (our choice)."""
ON_LINE_MM = 0.05
"""A slope line begins this near to the contour that it belongs to (our choice)."""


def too_near(printed: Sequence[Printed], /) -> Iterator[Finding]:
    """Lines and points of one colour with too little white between them.

    Two lines may cross or meet, unless both are contours: a gully may run across contours, and a path into a road.
    Where they do, the white beside the meeting is no gap.
    """
    drawn = [one for one in printed if one.kind == "point" or (one.kind == "line" and one.symbol.has("min_gap_mm"))]
    for ink in sorted({_colour(one) for one in drawn}):
        alike = [one for one in drawn if _colour(one) == ink]
        for a, b in _pairs([one.ink for one in alike], max(_gap_mm(one) for one in alike)):
            yield from _between(alike[a], alike[b])


def _colour(one: Printed) -> str:
    """The colour of a symbol's line or mark, without its tint."""
    return one.symbol.ink.partition(" ")[0]


def _pairs(shapes: Sequence[BaseGeometry], within_mm: float) -> NDArray[np.int64]:
    """(n, 2) numbers of shapes nearer to each other than that, each pair once."""
    if len(shapes) < 2:
        return np.empty((0, 2), np.int64)
    array = np.array(shapes, object)
    first, second = shapely.STRtree(array).query(array, predicate="dwithin", distance=within_mm)
    pairs: NDArray[np.int64] = np.column_stack((first, second))[first < second]
    return pairs


def _between(a: Printed, b: Printed) -> Iterator[Finding]:
    """Places where two symbols of one colour lie too near."""
    if _belongs(a, b) or _belongs(b, a):
        return
    # 201 asks for more beside what is impassable only, which `too_near_obstacles` sees to.
    asked = min(_gap_mm(a), _gap_mm(b))
    near, by = _facing(a, b), _facing(b, a)
    are_lines = a.kind == b.kind == "line"
    if not are_lines:
        found = near.distance(by)
        if found < asked * (1 - TOLERANCE):
            yield _finding("gap", a, b, asked, found)
        return
    if _goes_on(a, b):
        return
    may_meet = not {main_number(a), main_number(b)} <= set(CONTOURS)
    zone = shapely.get_parts(near.intersection(by.buffer(asked * (1 - TOLERANCE))))
    zone = zone[~shapely.is_empty(zone)]
    if may_meet:
        zone = zone[shapely.distance(zone, by) > TOUCH_MM]
    for part in zone:
        yield _finding("gap", a, b, asked, float(part.distance(by)), at=part)


def _gap_mm(one: Printed) -> float:
    """White that is asked for; beside points for which the norm gives no figure, that they do not touch."""
    return one.symbol.mm("min_gap_mm") if one.symbol.has("min_gap_mm") else SEEN_MM


def _belongs(stroke: Printed, line: Printed) -> bool:
    """Whether a slope line hangs on that contour."""
    if stroke.symbol.number != SLOPE_LINE or line.kind != "line":
        return False
    start = shapely.Point(stroke.shape.coords[0])
    return main_number(line) in CONTOURS and start.distance(line.shape) < ON_LINE_MM


def _goes_on(a: Printed, b: Printed) -> bool:
    """Whether two lines are one that changes its symbol where they meet, end to end, as an index contour may."""
    first, second = (shapely.get_coordinates(one.shape)[[0, -1]] for one in (a, b))
    return bool((np.hypot(*(first[:, None] - second[None, :]).transpose(2, 0, 1)) < TOUCH_MM).any())


def _facing(one: Printed, other: Printed) -> BaseGeometry:
    """What counts of a symbol beside another: beside a contour the line of a bank or cliff alone, without its tags."""
    is_tagged = one.kind == "line" and main_number(one) in TAGGED
    return one.body if is_tagged and main_number(other) in (*CONTOURS, SLOPE_LINE) else one.ink


def too_near_obstacles(printed: Sequence[Printed], /) -> Iterator[Finding]:
    """Things that cannot be crossed, the gap between them neither closed nor wide enough to be seen as a way."""
    walls = [one for one in printed if main_number(one) in IMPASSABLE and one.kind != "point"]
    widest = max((_way_mm(a, b) for a in walls for b in walls[:1]), default=0.0)
    for first, second in _pairs([one.ink for one in walls], widest):
        a, b = walls[first], walls[second]
        found = a.ink.distance(b.ink)
        asked = _way_mm(a, b)
        if TOUCH_MM < found < asked * (1 - TOLERANCE):
            yield _finding("way", a, b, asked, found)


def _way_mm(a: Printed, b: Printed) -> float:
    """Least white between two obstacles: a gigantic boulder may stand nearer than others."""
    gaps = [one.symbol.mm("min_gap_mm") for one in (a, b)]
    return min(gaps) if GIGANTIC in (main_number(a), main_number(b)) else max(gaps)


def _finding(
    rule: str, a: Printed, b: Printed, asked: float, found: float, *, at: BaseGeometry | None = None
) -> Finding:
    place = shapely.Point(shapely.shortest_line(a.ink, b.ink).coords[0]) if at is None else shapely.point_on_surface(at)
    return Finding(rule, a.symbol.number, b.symbol.number, asked, found, "mm", place)
