"""Buildings and gigantic boulders smaller than their symbol may be, drawn as large as it is: on paper alone.

A runner meets them all the same, so the norm draws them larger rather than leaves them out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import affinity

from pipeline.sheet.symbols.marks import Marks

DRAWN_LARGER = ("206", "521")


def at_least_smallest(marks: Sequence[Marks], /) -> list[Marks]:
    """The marks, small ones of DRAWN_LARGER grown about their middle to the least area of their symbol."""
    return [_grown(mark) if mark.symbol.number in DRAWN_LARGER and mark.kind == "area" else mark for mark in marks]


def _grown(mark: Marks) -> Marks:
    """Areas of one symbol, none below the least area."""
    if not mark.symbol.has("min_area_mm2"):
        return mark
    least_mm2 = mark.symbol.mm("min_area_mm2") * mark.enlarge**2
    grown = mark.geometry.copy()
    area_mm2 = shapely.area(grown)
    for row in np.flatnonzero((area_mm2 < least_mm2) & (area_mm2 > 0)).tolist():
        times = float(np.sqrt(least_mm2 / area_mm2[row]))
        grown[row] = affinity.scale(grown[row], times, times, origin="centroid")
    return replace(mark, geometry=grown)
