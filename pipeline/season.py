"""When broadleaved trees are in leaf, by the day of the year, the latitude and the height."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Literal

from pipeline.settings import SurveySettings

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
    if not days or abs(lat_deg) < settings.season_least_latitude_deg:
        return "unknown"
    climates = zip(settings.leaves_out_days_of_year, settings.spring_days_per_deg, strict=True)
    out, down = [], []
    for out_day, days_per_deg in climates:
        later_days = days_per_deg * (abs(lat_deg) - REFERENCE_LATITUDE_DEG) + settings.spring_days_per_m * elevation_m
        out.append(out_day + later_days)
        # Leaves come down earlier in the north, by about half the delay of spring (common practice).
        down.append(settings.leaves_down_day_of_year - later_days / 2)
    turning = settings.leaves_turning_days
    in_year = [_northern_day(day, south=lat_deg < 0) for day in days]
    if all(max(out) + turning < day < min(down) - turning for day in in_year):
        return "leaf-on"
    bare = all(day < min(out) - turning or day > max(down) + turning for day in in_year)
    return "leaf-off" if bare else "in between"


def _northern_day(day: datetime.date, *, south: bool) -> float:
    """Day of the year; half a year turns the southern seasons into northern ones."""
    return (day.timetuple().tm_yday + (182.5 if south else 0.0)) % 365.25
