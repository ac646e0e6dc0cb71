"""Units of length that lidar tiles come in, and their names."""

from __future__ import annotations

import math
from collections.abc import Mapping

INTERNATIONAL_FOOT_M = 0.3048
"""Exactly, by the international yard and pound agreement of 1959 (EPSG unit 9002)."""

US_SURVEY_FOOT_M = 1200 / 3937
"""Exactly, by the Mendenhall Order of 1893 (EPSG unit 9003)."""

HEIGHT_UNITS_M: Mapping[str, float] = {
    "metre": 1.0,
    "foot": INTERNATIONAL_FOOT_M,
    "us_survey_foot": US_SURVEY_FOOT_M,
}
"""The units of height an area file may name, each in metres."""

METRES_PER_DEGREE = 111_320.0
"""One degree of latitude in metres, to half a percent: the equator's 40 075 km over 360 (arithmetic)."""


def unit_in_words(unit_m: float | None, /) -> str:
    """Name of a length unit given in metres; None means degrees."""
    if unit_m is None:
        return "degrees"
    for name, known_m in (
        ("metres", 1.0),
        ("international feet", INTERNATIONAL_FOOT_M),
        ("US survey feet", US_SURVEY_FOOT_M),
    ):
        if math.isclose(unit_m, known_m, rel_tol=1e-9):
            return name
    return f"units of {unit_m:g} m"
