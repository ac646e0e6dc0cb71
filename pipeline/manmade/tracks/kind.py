"""Which symbol a course gets, by its width and gradient."""

from __future__ import annotations

WIDE_ROAD_M = 5.0
"""Width from which a road is a wide one, 502 (ISOM 2017-2, 502, from memory)."""
ROAD_M = 4.0
"""Width from which a course is a road, 503. ISOM gives 503 up to 5 m and 504 up to 3 m and tells them by how they are
kept, which a survey does not show; between the two is our choice."""
TRACK_M = 2.5
"""Width from which a course takes a car, 504 (common practice, no source)."""
PATH_M = 1.0
"""Width from which a path is a footpath, 505: a small path is under a metre wide (common practice, no source)."""
STEEPEST_DRIVEN = 0.3
"""Gradient above which no car drives and a wide course is a path (our choice: forest roads stay below 0.15)."""
DISTINCT = 0.35
"""Confidence below which a path is a less distinct one, 507 (our choice)."""


def kind_of(width_m: float, climb: float, confidence: float, /) -> str:
    """502 to 507 by width in metres, gradient (rise over run) and how surely the course is one."""
    if climb <= STEEPEST_DRIVEN and confidence >= DISTINCT:
        for symbol, least_m in (("502", WIDE_ROAD_M), ("503", ROAD_M), ("504", TRACK_M)):
            if width_m >= least_m:
                return symbol
    if confidence < DISTINCT:
        return "507"
    return "505" if width_m >= PATH_M else "506"
