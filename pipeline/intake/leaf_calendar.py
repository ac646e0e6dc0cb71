"""When broadleaved trees are in leaf, by the day of the year, the latitude and the height."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Literal

from pipeline.settings import SurveySettings

SPRING_DAYS_PER_DEG = (2.0, 4.0)
"""Days by which spring is later for each degree farther north, by the sea and inland: the latter Hopkins (1918), from
memory; the former common practice, no source."""
SPRING_DAYS_PER_M = 0.033
"""The same for each metre higher: four days in 400 feet (Hopkins 1918)."""
LEAVES_TURNING_DAYS = 10.0
"""So near to these days it is not said whether leaves were out: one year is earlier."""
SEASON_LEAST_LATITUDE_DEG = 30.0
"""Nearer to the equator trees keep no such seasons, and none is told."""

Season = Literal["leaf-off", "in between", "leaf-on", "unknown"]

REFERENCE_LATITUDE_DEG = 45.0
"""Latitude that the days in the settings are told for."""


def season_of(
    days: Sequence[datetime.date], /, *, lat_deg: float, elevation_m: float, settings: SurveySettings
) -> Season:
    """Whether broadleaved trees were in leaf on all days, on none, or neither; unknown near the tropics.

    Spring is told for a climate by the sea and for one inland; a day that only one of them calls leafy is in between.

    Source
    ------
    Hopkins (1918), bioclimatic law: four days a degree of latitude or 400 feet of height (from memory), inland. That
    spring goes north half as slowly by the sea, and the days in the settings, are common practice, no source.
    """
    if not days or abs(lat_deg) < SEASON_LEAST_LATITUDE_DEG:
        return "unknown"
    climates = zip(settings.leaves_out_days_of_year, SPRING_DAYS_PER_DEG, strict=True)
    out, down = [], []
    for out_day, days_per_deg in climates:
        later_days = days_per_deg * (abs(lat_deg) - REFERENCE_LATITUDE_DEG) + SPRING_DAYS_PER_M * elevation_m
        out.append(out_day + later_days)
        # Leaves come down earlier in the north, by about half the delay of spring (common practice).
        down.append(settings.leaves_down_day_of_year - later_days / 2)
    turning = LEAVES_TURNING_DAYS
    in_year = [_northern_day(day, south=lat_deg < 0) for day in days]
    if all(max(out) + turning < day < min(down) - turning for day in in_year):
        return "leaf-on"
    bare = all(day < min(out) - turning or day > max(down) + turning for day in in_year)
    return "leaf-off" if bare else "in between"


def _northern_day(day: datetime.date, *, south: bool) -> float:
    """Day of the year; half a year turns the southern seasons into northern ones."""
    return (day.timetuple().tm_yday + (182.5 if south else 0.0)) % 365.25
