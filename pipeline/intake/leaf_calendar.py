"""Whether broadleaved trees were in leaf on the days of flight, by the calendar: day of the year, latitude and height.

What the returns themselves say of leaves is told in `pipeline.vegetation.running.leaves`.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

SPRING_DAYS_PER_DEG = (2.0, 4.0)
"""Days by which spring is later for each degree farther from the equator: by the sea (common practice, no source) and
inland (Hopkins 1918, from memory)."""
SPRING_DAYS_PER_M = 0.033
"""Days by which spring is later for each metre of height: four days in 400 feet (Hopkins 1918, from memory)."""
LEAVES_TURNING_DAYS = 10.0
"""Within so many days of leaves coming or falling it is not said whether they were out: years differ by as much (common
practice, no source)."""
SEASON_LEAST_LATITUDE_DEG = 30.0
"""Nearer to the equator no season is told: trees there keep other seasons, or none (our choice)."""
REFERENCE_LATITUDE_DEG = 45.0
"""Latitude for which `LeafDays` gives the days."""

Season = Literal["leaf-off", "in between", "leaf-on", "unknown"]


@dataclass(frozen=True)
class LeafDays:
    """Days of the year on which broadleaved trees come into leaf and are bare again: lowlands at 45 degrees north.

    Attributes
    ----------
    out_by_the_sea, out_inland : float
    down : float
    """

    out_by_the_sea: float
    out_inland: float
    down: float


def season_by_calendar(
    days: Sequence[datetime.date], /, *, lat_deg: float, elevation_m: float, leaf_days: LeafDays
) -> Season:
    """Whether broadleaved trees were in leaf on all days, on none, or neither; unknown near the tropics.

    Spring is told for a climate by the sea and for one inland; a day that only one of them calls leafy is in between.

    Source
    ------
    Hopkins (1918), bioclimatic law: four days a degree of latitude or 400 feet of height (from memory), inland. That
    spring goes north twice as fast by the sea, and that leaves fall earlier in the north by half as much as they come
    later, are common practice, no source.
    """
    if not days or abs(lat_deg) < SEASON_LEAST_LATITUDE_DEG:
        return "unknown"
    climates = zip((leaf_days.out_by_the_sea, leaf_days.out_inland), SPRING_DAYS_PER_DEG, strict=True)
    out, down = [], []
    for out_day, days_per_deg in climates:
        later_days = days_per_deg * (abs(lat_deg) - REFERENCE_LATITUDE_DEG) + SPRING_DAYS_PER_M * elevation_m
        out.append(out_day + later_days)
        # Leaves come down earlier in the north, by about half the delay of spring (common practice).
        down.append(leaf_days.down - later_days / 2)
    turning = LEAVES_TURNING_DAYS
    in_year = [_northern_day(day, south=lat_deg < 0) for day in days]
    if all(max(out) + turning < day < min(down) - turning for day in in_year):
        return "leaf-on"
    bare = all(day < min(out) - turning or day > max(down) + turning for day in in_year)
    return "leaf-off" if bare else "in between"


def _northern_day(day: datetime.date, *, south: bool) -> float:
    """Day of the year; half a year turns the southern seasons into northern ones."""
    return (day.timetuple().tm_yday + (182.5 if south else 0.0)) % 365.25
