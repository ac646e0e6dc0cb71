"""What a survey holds: how densely the ground was sampled, in which classes, and when and how it was flown."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.intake.leaf_calendar import LeafDays, Season, season_by_calendar
from pipeline.intake.tile_header import TileHeader
from pipeline.lattice.grid import Bounds
from pipeline.points.duplicates import find_duplicates
from pipeline.points.flight_lines import LineOffset, line_offsets
from pipeline.returns import asprs
from pipeline.returns.cloud import Cloud
from pipeline.survey.near_ground import GROUND_CELL_M, GROUND_TOLERANCE_M, above_lowest, near_ground


def usable_within(cloud: Cloud, bounds: Bounds, /) -> Cloud:
    """The points that count: usable, no noise, no repeats, no strays outside the tile (by more than a metre)."""
    west, south, east, north = bounds
    inside = (cloud.east > west - 1) & (cloud.east < east + 1) & (cloud.north > south - 1) & (cloud.north < north + 1)
    return cloud.take(inside & cloud.is_usable & ~np.isin(cloud.producer_class, asprs.NOISE) & ~find_duplicates(cloud))


def share_by_class(clouds: Sequence[Cloud], /) -> Mapping[int, float]:
    """ASPRS class to its share of all points, only classes that occur."""
    counts = _count_by_class(clouds)
    return {int(kind): float(counts[kind] / counts.sum()) for kind in np.flatnonzero(counts)}


def _count_by_class(clouds: Sequence[Cloud]) -> NDArray[np.int64]:
    """(256,) points of each ASPRS class."""
    return sum((np.bincount(cloud.producer_class, minlength=256) for cloud in clouds), np.zeros(256, np.int64))


def n_pulses(cloud: Cloud, /) -> int:
    """Pulses of a cloud: its first returns, or all returns where none is called the first."""
    return int((cloud.return_number <= 1).sum()) or len(cloud)


@dataclass(frozen=True)
class Density:
    """How closely the ground was sampled.

    Attributes
    ----------
    pulses_per_m2, returns_per_pulse : float
    ground_per_m2 : float
        Returns near the lowest surface: our own estimate, in forest good to about a tenth.
    class_ground_per_m2, class_water_per_m2 : float
        Returns the producer calls ground, or water; 0 without any.
    """

    pulses_per_m2: float
    returns_per_pulse: float
    ground_per_m2: float
    class_ground_per_m2: float
    class_water_per_m2: float


def measure_density(clouds: Sequence[Cloud], /, *, per_m2: float) -> Density:
    """Density of what was read; `per_m2`, one over the square metres it came from, makes counts into densities."""
    pulses = sum(map(n_pulses, clouds))
    n_ground = sum(int(near_ground(cloud).sum()) for cloud in clouds)
    by_class = _count_by_class(clouds)
    return Density(
        pulses_per_m2=pulses * per_m2,
        returns_per_pulse=sum(map(len, clouds)) / max(1, pulses),
        ground_per_m2=n_ground * per_m2,
        class_ground_per_m2=float(by_class[asprs.GROUND]) * per_m2,
        class_water_per_m2=float(by_class[asprs.WATER]) * per_m2,
    )


@dataclass(frozen=True)
class Flight:
    """When and how it was flown.

    Attributes
    ----------
    days : tuple of date
        UTC days with returns; empty where they cannot be told.
    note : str
        What else is to be said about the times, "" for nothing.
    season : Season
        Of broadleaved trees.
    n_lines : int
        Number of point source IDs.
    worst_offset : LineOffset or None
        The two lines that differ most in height where they overlap; None where none share enough ground.
    """

    days: tuple[datetime.date, ...]
    note: str
    season: Season
    n_lines: int
    worst_offset: LineOffset | None


def measure_flight(
    headers: Sequence[TileHeader], clouds: Sequence[Cloud], /, *, lat_deg: float, leaf_days: LeafDays
) -> Flight:
    """Days, leaf season and flight lines of a survey; `lat_deg` is the latitude of its middle."""
    elevation_m = float(np.median(np.concatenate([cloud.height for cloud in clouds])))
    times = np.concatenate([cloud.gps_time[cloud.gps_time != 0] for cloud in clouds])
    lines = {int(line) for cloud in clouds for line in np.unique(cloud.flight_line)}
    days = flight_days(times)
    season = season_by_calendar(days, lat_deg=lat_deg, elevation_m=elevation_m, leaf_days=leaf_days)
    return Flight(days, _note_on_times(headers, times, days), season, len(lines), _worst_offset(clouds))


def _note_on_times(headers: Sequence[TileHeader], times_s: NDArray[np.float64], days: Sequence[datetime.date]) -> str:
    if days:
        wrong = any(header.time_kind == "week" for header in headers)
        return "the header calls the times seconds of a week, which they cannot be" if wrong else ""
    if len(times_s) == 0:
        return "the points carry no time"
    return "the points carry seconds of an unknown week, which cannot be dated"


LEAST_OVERLAP_CELLS = 50
"""Cells with ground returns of both lines that two flight lines must share for their offset to be told; the median of
as many cells is good to about 2 cm in forest."""


def _worst_offset(clouds: Sequence[Cloud]) -> LineOffset | None:
    """The two flight lines that differ most in any tile, by the ground both have seen."""
    found: list[LineOffset] = []
    for cloud in clouds:
        if len(np.unique(cloud.flight_line)) > 1:
            above_m, _ = above_lowest(cloud)
            above_m[np.abs(above_m) > GROUND_TOLERANCE_M] = np.nan
            found += line_offsets(cloud, above_m, cell_m=GROUND_CELL_M, least_cells=LEAST_OVERLAP_CELLS)
    return max(found, key=lambda pair: (abs(pair.offset_m), pair), default=None)


# Full GPS time counts seconds from here; adjusted GPS time is a thousand million seconds less (LAS 1.4 R15, table 7).
_GPS_EPOCH = datetime.datetime(1980, 1, 6)
_ADJUSTED_S = 1e9
_WEEK_S = 7 * 24 * 3600.0
# Adjusted times stay below this until 2033, full ones have been above it since 2002 (arithmetic).
_FULL_TIME_S = 7e8


def flight_days(times_s: NDArray[np.float64], /) -> tuple[datetime.date, ...]:
    """Days (UTC, but for the leap seconds) of GPS times; none where they are seconds of a week.

    Adjusted times lack 1e9 seconds since 6 January 1980; some files hold the full count (LAS 1.4 R15, table 7).
    """
    if len(times_s) == 0 or times_s.max() <= _WEEK_S:
        return ()
    full_s = np.where(times_s < _FULL_TIME_S, times_s + _ADJUSTED_S, times_s)
    days = np.unique(np.floor(full_s / 86400).astype(np.int64))
    return tuple((_GPS_EPOCH + datetime.timedelta(days=int(day))).date() for day in days)
