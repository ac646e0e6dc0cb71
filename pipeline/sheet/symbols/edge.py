"""Point symbols beside the edge of the map: they stand wholly inside it, as half a dot says nothing.

Only on paper; the draft keeps every feature where it was found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from pipeline.sheet.symbols.marks import Marks

SIZES = ("length_mm", "width_mm", "dot_mm")
"""Figures of a point symbol that say how large it is."""
EDGE_GAP_MM = 0.1
"""Least gap between a symbol and the line of the edge at 1:15 000 (our choice)."""


def clear_of_edge(marks: Sequence[Marks], outline: Polygon | MultiPolygon, /) -> list[Marks]:
    """The marks, point symbols that would reach over the outline moved straight inwards until they do not.

    Parameters
    ----------
    outline : the mapped area in millimetres of the map
    """
    return [_inwards(mark, outline) if mark.kind == "point" else mark for mark in marks]


def _inwards(mark: Marks, outline: Polygon | MultiPolygon) -> Marks:
    """Points moved to the nearest place that is far enough from the edge; all stay where the area is too narrow."""
    inner = shapely.buffer(outline, -(_radius_mm(mark) + EDGE_GAP_MM * mark.enlarge))
    if inner.is_empty:
        return mark
    shapely.prepare(inner)
    is_over = ~shapely.intersects(inner, mark.geometry)
    if not is_over.any():
        return mark
    geometry = mark.geometry.copy()
    nearest = shapely.shortest_line(geometry[is_over], inner)
    geometry[is_over] = shapely.get_point(nearest, -1)
    return replace(mark, geometry=np.asarray(geometry, object))


def _radius_mm(mark: Marks) -> float:
    """Half the size of the symbol on the map."""
    return max((mark.mm(size) for size in SIZES if mark.symbol.has(size)), default=0.0) / 2
