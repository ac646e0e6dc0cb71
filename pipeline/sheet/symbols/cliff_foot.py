"""Boulders beside cliffs: dots stand clear of a cliff's line, and its tags are left out where a dot stands.

Only on paper; the draft keeps every boulder where its returns lie. Tags may be dropped where space is short
(ISOM 2017-2, 201).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from pipeline.sheet.page.ink import Geometries, Places
from pipeline.sheet.symbols.marks import Marks, stations

CLIFFS = ("201", "202")
BOULDERS = ("204", "205", "207")
GAP_MM = 0.15
"""Least gap beside a cliff at 1:15 000: ISOM 2017-2, 202."""
ON_LINE_MM = 0.01
"""A dot this near a line stands on it, and goes to the side the cliff falls to."""


def clear_of_cliffs(marks: Sequence[Marks], /) -> list[Marks]:
    """The marks, boulders moved off the lines of cliffs, and cliffs told where to leave out their tags."""
    cliffs = [mark for mark in marks if mark.symbol.number in CLIFFS and mark.kind == "line"]
    is_boulder = [mark.symbol.number in BOULDERS and mark.kind == "point" for mark in marks]
    if not cliffs or not any(is_boulder):
        return list(marks)
    moved = [_off_lines(mark, cliffs) if dot else mark for mark, dot in zip(marks, is_boulder, strict=True)]
    discs = [
        shapely.buffer(mark.geometry, _radius_mm(mark) + GAP_MM * mark.enlarge)
        for mark, dot in zip(moved, is_boulder, strict=True)
        if dot
    ]
    taken = shapely.union_all(np.concatenate(discs))
    is_cliff = [mark.symbol.number in CLIFFS and mark.kind == "line" for mark in moved]
    return [replace(mark, no_tags_in=taken) if cliff else mark for mark, cliff in zip(moved, is_cliff, strict=True)]


def _radius_mm(mark: Marks) -> float:
    """Half the size of a boulder's symbol on the map."""
    return mark.mm("length_mm") / 2


def _off_lines(mark: Marks, cliffs: Sequence[Marks]) -> Marks:
    """Boulders moved straight away from the nearest line until there is a gap."""
    places = mark.places.copy()
    for cliff in cliffs:
        clear_mm = cliff.mm("line_mm") / 2 + _radius_mm(mark) + GAP_MM * mark.enlarge
        _push(places, cliff.geometry, clear_mm)
    return replace(mark, geometry=np.asarray(shapely.points(places), object))


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
