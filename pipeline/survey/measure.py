"""What a survey holds: how densely the ground was sampled, in which classes, and when and how it was flown."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.intake.leaf_calendar import LeafDays, Season, season_by_calendar
from pipeline.intake.tile_header import TileHeader
from pipeline.points.flight_lines import LineOffset
from pipeline.returns import asprs
from pipeline.survey.sample.sample import HEIGHT_STEP_M, Sample


def share_by_class(samples: Sequence[Sample], /) -> Mapping[int, float]:
    """ASPRS class to its share of all points that were read, only classes that occur."""
    counts = np.sum([sample.read_by_class for sample in samples], axis=0)
    return {int(kind): float(counts[kind] / counts.sum()) for kind in np.flatnonzero(counts)}


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


def measure_density(samples: Sequence[Sample], /, *, per_m2: float) -> Density:
    """Density of what was read; `per_m2`, one over the square metres it came from, makes counts into densities."""
    pulses = sum(sample.n_pulses for sample in samples)
    by_class = np.sum([sample.usable_by_class for sample in samples], axis=0)
    return Density(
        pulses_per_m2=pulses * per_m2,
        returns_per_pulse=sum(sample.n_usable for sample in samples) / max(1, pulses),
        ground_per_m2=sum(sample.n_ground for sample in samples) * per_m2,
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
    headers: Sequence[TileHeader], samples: Sequence[Sample], /, *, lat_deg: float, leaf_days: LeafDays
) -> Flight:
    """Days, leaf season and flight lines of a survey; `lat_deg` is the latitude of its middle."""
    lines = {line for sample in samples for line in sample.lines.tolist()}
    numbers = sorted({day for sample in samples for day in sample.days.tolist()})
    days = tuple(map(datetime.date.fromordinal, numbers))
    elevation_m = _middle_height_m(samples)
    season = season_by_calendar(days, lat_deg=lat_deg, elevation_m=elevation_m, leaf_days=leaf_days)
    has_times = any(sample.n_times for sample in samples)
    return Flight(days, _note_on_times(headers, days, has_times), season, len(lines), _worst_offset(samples))


def _middle_height_m(samples: Sequence[Sample]) -> float:
    """Half of the returns lie higher than that; good to half a step of the counts."""
    heights = np.concatenate([sample.heights for sample in samples])
    order = np.argsort(heights)
    so_far = np.cumsum(np.concatenate([sample.height_counts for sample in samples])[order])
    return float(heights[order][np.searchsorted(so_far, so_far[-1] / 2)] + 0.5) * HEIGHT_STEP_M


def _note_on_times(headers: Sequence[TileHeader], days: Sequence[datetime.date], has_times: bool) -> str:
    if days:
        wrong = any(header.time_kind == "week" for header in headers)
        return "the header calls the times seconds of a week, which they cannot be" if wrong else ""
    if not has_times:
        return "the points carry no time"
    return "the points carry seconds of an unknown week, which cannot be dated"


def _worst_offset(samples: Sequence[Sample]) -> LineOffset | None:
    """The two flight lines that differ most in any tile, by the ground both have seen."""
    rows = [row for sample in samples for row in sample.offsets.tolist()]
    found = [LineOffset(int(first), int(second), offset_m, int(n)) for first, second, offset_m, n in rows]
    return max(found, key=lambda pair: (abs(pair.offset_m), pair), default=None)
