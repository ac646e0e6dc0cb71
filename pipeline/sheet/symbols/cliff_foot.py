"""Boulders beside cliffs: dots stand clear of a cliff's line, and its tags are left out where something stands.

Only on paper; the draft keeps every boulder where its returns lie. Tags may be dropped where space is short
(ISOM 2017-2, 201): where a dot stands, and where they would take the gap to another cliff, to water or to a house.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.sheet.page.ink import Geometries, Places
from pipeline.sheet.symbols.marks import Marks, stations

CLIFFS = ("201", "202")
BOULDERS = ("204", "205", "207")
GAP_MM = 0.15
"""Least gap beside a cliff at 1:15 000: ISOM 2017-2, 202."""
SLACK_MM = 0.01
"""What is kept beyond it, for curves that are measured in straight steps."""
ON_LINE_MM = 0.01
"""A dot this near a line stands on it, and goes to the side the cliff falls to."""
RINGS, WAYS, RING_MM = 8, 16, 0.1
"""Distances and directions that are tried for a dot that has no room straight off the line (our choice)."""
TRIANGLE = "triangle"
SOLID = ("206", "301", "521")
"""What nobody can cross: a way between it and a cliff must be seen."""


def clear_of_cliffs(marks: Sequence[Marks], /) -> list[Marks]:
    """The marks, boulders moved off the lines of cliffs, and lines told where to leave out their tags."""
    is_cliff = [mark.symbol.number in CLIFFS and mark.kind == "line" for mark in marks]
    cliffs = [mark for mark, cliff in zip(marks, is_cliff, strict=True) if cliff]
    is_boulder = [mark.symbol.number in BOULDERS and mark.kind == "point" for mark in marks]
    if not cliffs:
        return list(marks)
    boulders = iter(_off_lines([mark for mark, dot in zip(marks, is_boulder, strict=True) if dot], cliffs))
    moved = [next(boulders) if dot else mark for mark, dot in zip(marks, is_boulder, strict=True)]
    # The middle of a tag is asked about; half of its width lies nearer to what it keeps off.
    half_tag = max(cliff.mm("tag_mm") for cliff in cliffs) / 2
    gap = GAP_MM * cliffs[0].enlarge
    discs = [
        shapely.buffer(mark.geometry, _radius_mm(mark) + gap + half_tag)
        for mark, dot in zip(moved, is_boulder, strict=True)
        if dot
    ]
    standing = shapely.union_all(np.concatenate(discs)) if discs else shapely.Point()
    beside = iter(_beside(cliffs, [mark for mark in marks if mark.symbol.number in SOLID and mark.kind == "area"]))
    return [
        replace(mark, no_tags_in=standing, beside=next(beside)) if cliff else mark
        for mark, cliff in zip(moved, is_cliff, strict=True)
    ]


def _beside(cliffs: Sequence[Marks], solid: Sequence[Marks]) -> list[tuple[BaseGeometry, ...]]:
    """For each cliff of each mark, where its tags would take the gap to other cliffs, water or houses.

    Of two cliffs whose tags face each other, the one that is drawn first keeps them.
    """
    lines = np.concatenate([cliff.geometry for cliff in cliffs])
    owner = np.repeat(np.arange(len(cliffs)), [len(cliff.geometry) for cliff in cliffs])
    bodies = shapely.buffer(lines, np.array([cliff.mm("line_mm") / 2 for cliff in cliffs])[owner])
    reach = np.array([cliff.mm("line_mm") / 2 + cliff.mm("tag_length_mm") for cliff in cliffs])[owner]
    inks = shapely.union(bodies, shapely.buffer(lines, -reach, single_sided=True))
    fixed = np.concatenate([np.empty(0, np.object_), *(mark.geometry for mark in solid)])
    tree = shapely.STRtree(np.concatenate([inks, fixed]))
    found = []
    for number, line in enumerate(lines):
        cliff = cliffs[owner[number]]
        gap = cliff.mm("min_gap_mm") + cliff.mm("tag_mm") / 2 + SLACK_MM
        near = np.sort(tree.query(inks[number], predicate="dwithin", distance=gap)).tolist()
        zones = [
            fixed[one - len(lines)] if one >= len(lines) else inks[one] if one < number else bodies[one]
            for one in near
            if one != number and (one >= len(lines) or not lines[one].equals(line))
        ]
        found.append(shapely.union_all(shapely.buffer(np.array(zones, np.object_), gap)))
    ends = np.cumsum([0, *(len(cliff.geometry) for cliff in cliffs)])
    return [tuple(found[start:end]) for start, end in itertools.pairwise(ends)]


def _radius_mm(mark: Marks) -> float:
    """Radius of the circle around a boulder's symbol on the map."""
    if mark.symbol.drawing != TRIANGLE:
        return mark.mm("length_mm") / 2
    # Its corners at the base lie a third of its height below its middle.
    return float(np.hypot(mark.mm("length_mm") / 2, mark.mm("width_mm") / 3))


def _off_lines(boulders: Sequence[Marks], cliffs: Sequence[Marks]) -> list[Marks]:
    """Boulders moved straight away from the nearest line until there is a gap, or to where there is room beside all."""
    pushed = []
    for mark in boulders:
        places = mark.places.copy()
        for cliff in cliffs:
            _push(places, cliff.geometry, _clear_mm(mark, cliff))
        pushed.append(places)
    found = [_with_room(number, boulders, pushed, cliffs) for number in range(len(boulders))]
    return [
        replace(mark, geometry=np.asarray(shapely.points(places), object))
        for mark, places in zip(boulders, found, strict=True)
    ]


def _clear_mm(mark: Marks, cliff: Marks) -> float:
    """Least distance of a boulder's middle from the line of a cliff."""
    return cliff.mm("line_mm") / 2 + _radius_mm(mark) + GAP_MM * mark.enlarge


def _with_room(number: int, boulders: Sequence[Marks], places: list[Places], cliffs: Sequence[Marks]) -> Places:
    """Places of one symbol's boulders; in `places` those that stand too near to others are moved on."""
    mark = boulders[number]
    lines = np.concatenate([cliff.geometry for cliff in cliffs])
    clear = np.concatenate([np.full(len(cliff.geometry), _clear_mm(mark, cliff)) for cliff in cliffs])
    tree, reach = shapely.STRtree(lines), float(clear.max()) + 2
    own = mark.places
    for at in np.flatnonzero(np.hypot(*(places[number] - own).T) > 0).tolist():
        keep = [
            (_radius_mm(mark) + _radius_mm(one) + GAP_MM * mark.enlarge, where) for one, where in _all(boulders, places)
        ]
        tried = np.concatenate([places[number][at : at + 1], own[at] + _steps(mark.enlarge)])
        lack = np.zeros(len(tried))
        farthest_mm = float(np.hypot(*(tried - own[at]).T).max())
        points = np.asarray(shapely.points(tried), np.object_)
        for line in tree.query(points[0], predicate="dwithin", distance=reach).tolist():
            lack += np.maximum(clear[line] - shapely.distance(points, lines[line]), 0)
        for clear_mm, where in keep:
            # What stands farther off than the farthest place that is tried can be in nobody's way.
            is_near = np.hypot(*(where - own[at]).T) < clear_mm + farthest_mm
            others = where[is_near & (np.hypot(*(where - places[number][at]).T) > 0)]
            apart = np.hypot(*(tried[:, None, :] - others[None, :, :]).transpose(2, 0, 1))
            lack += np.maximum(clear_mm - apart, 0).sum(axis=1)
        best = np.lexsort((np.hypot(*(tried - own[at]).T), lack > SLACK_MM, np.round(lack, 2)))[0]
        if lack[0] > SLACK_MM:
            places[number][at] = tried[best]
    return places[number]


def _all(boulders: Sequence[Marks], places: Sequence[Places]) -> list[tuple[Marks, Places]]:
    return list(zip(boulders, places, strict=True))


def _steps(enlarge: float) -> Places:
    """Steps to try, on rings of growing size."""
    angle = np.arange(WAYS) * 2 * np.pi / WAYS
    reach = RING_MM * enlarge * np.arange(1, RINGS + 1)
    return np.asarray((reach[:, None, None] * np.stack((np.sin(angle), np.cos(angle)), -1)).reshape(-1, 2))


def _push(places: Places, lines: Geometries, clear_mm: float) -> None:
    """Move places off lines, in place."""
    points = np.asarray(shapely.points(places), object)
    near, line = shapely.STRtree(lines).query_nearest(points, max_distance=clear_mm, all_matches=False)
    along = shapely.line_locate_point(lines[line], points[near])
    at = stations(lines[line], [np.array([distance]) for distance in along])
    way = places[near] - at.places
    apart = np.hypot(*way.T)
    is_on = apart < ON_LINE_MM
    way[is_on], apart[is_on] = at.right[is_on], 1.0
    places[near] = at.places + way / apart[:, None] * clear_mm
