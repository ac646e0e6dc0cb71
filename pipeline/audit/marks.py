"""Marks on paper: their own size, how the dots of a pattern stand, what hangs over the edge of the map."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from pipeline.audit.finding import TOLERANCE, Finding, falls_short
from pipeline.audit.printed import Printed

SCATTERED = ("scattered_dots", "scattered_triangles")
OFF_SIZE_RATIO = TOLERANCE
OVER_EDGE_MM = 0.02
"""How far a mark may reach over the edge of the map (our choice): less than a printer shows."""


def wrong_sizes(printed: Sequence[Printed], /) -> Iterator[Finding]:
    """Point symbols that are not printed as large as the norm draws them, by more than printing allows."""
    for one in printed:
        if one.kind != "point" or not (one.symbol.has("length_mm") and one.symbol.has("width_mm")):
            continue
        asked = np.sort([one.symbol.mm("length_mm"), one.symbol.mm("width_mm")])
        corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(one.ink))
        found = np.sort(np.hypot(*np.diff(corners, axis=0).T))[[0, -1]]
        off = np.abs(found - asked) / asked
        if off.max() > OFF_SIZE_RATIO and not _is_pointed(one):
            worst = int(np.argmax(off))
            yield Finding("size", one.symbol.number, "", float(asked[worst]), float(found[worst]), "mm", _place(one))


def _place(one: Printed) -> shapely.Point:
    return shapely.Point(shapely.get_coordinates(one.shape)[0])


def _is_pointed(one: Printed) -> bool:
    """Marks whose smallest rectangle says nothing about their size: crosses, stars and what has a point."""
    return one.symbol.drawing not in ("dot", "ellipse", "ring", "white_ring", "ringed_dot", "square", "semicircle")


def wrong_patterns(printed: Sequence[Printed], /) -> Iterator[Finding]:
    """Areas of scattered dots or triangles with too few of them, or with two too near to each other."""
    for one in printed:
        if one.kind != "area" or one.symbol.drawing not in SCATTERED:
            continue
        if len(one.marks) < one.symbol.mm("min_count"):
            asked, found = one.symbol.mm("min_count"), float(len(one.marks))
            yield Finding("count", one.symbol.number, "", asked, found, "marks", shapely.point_on_surface(one.shape))
        if len(one.marks) < 2:
            continue
        apart = np.asarray(cKDTree(one.marks).query(one.marks, k=2)[0])[:, 1]
        nearest = int(np.argmin(apart))
        if falls_short(float(apart[nearest]), one.symbol.mm("spacing_mm")):
            asked, found = one.symbol.mm("spacing_mm"), float(apart[nearest])
            yield Finding("spacing", one.symbol.number, "", asked, found, "mm", shapely.Point(one.marks[nearest]))


def over_edge(printed: Sequence[Printed], outline: BaseGeometry, /) -> Iterator[Finding]:
    """Point symbols that the edge of the map cuts.

    Parameters
    ----------
    outline : the mapped area, in millimetres at 1:15 000
    """
    inside = shapely.buffer(outline, OVER_EDGE_MM)
    shapely.prepare(inside)
    for one in printed:
        if one.kind == "point" and not shapely.covers(inside, one.ink):
            cut_mm2 = float(shapely.difference(one.ink, outline).area)
            yield Finding("edge", one.symbol.number, "", 0.0, cut_mm2, "mm2", _place(one))
