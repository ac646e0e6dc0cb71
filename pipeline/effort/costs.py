"""From hours to days, money and calendar weeks."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pipeline.effort.rates.trade import Range

RESERVE_RATIO = 0.2
"""Days planned on top of those that the hours take, for rain and for what turns out otherwise: at least a fifth, in the
planning example of the same page as `pipeline.effort.rates.trade.PRINTED_H_PER_KM2`."""
A_HAIR = 1e-9  # keeps a whole number of days from gaining one through rounding


@dataclass(frozen=True)
class Terms:
    """How a club works, from the area file.

    Attributes
    ----------
    day_h : hours of fieldwork in a day; the way there and back is not among them
    day_rate : money for such a day
    travel_h : hours there and back, for each day in the field
    mappers, days_a_week : how many work, and how often each of them
    """

    day_h: float
    day_rate: float
    travel_h: float
    mappers: int
    days_a_week: float


def days_of(hours: float, /, *, day_h: float, reserve_ratio: float = 0.0) -> int:
    """Whole days that hours take, with a reserve where one is wanted."""
    return math.ceil(hours * (1 + reserve_ratio) / day_h - A_HAIR)


def days_for(hours: Range, terms: Terms, /) -> dict[str, int]:
    """Days in the field: low, likely, high, and `planned`, the likely hours with a reserve of a fifth."""
    low, likely, high = (days_of(h, day_h=terms.day_h) for h in (hours.low, hours.likely, hours.high))
    planned = days_of(hours.likely, day_h=terms.day_h, reserve_ratio=RESERVE_RATIO)
    return {"low": low, "likely": likely, "high": high, "planned": planned}


def weeks_for(days: int, terms: Terms, /) -> int:
    """Calendar weeks in which so many days in the field are done."""
    return math.ceil(days / (terms.mappers * terms.days_a_week) - A_HAIR)


def cost_of(fieldwork_h: float, drawing_h: float, days: int, terms: Terms, /) -> float:
    """Money for fieldwork and drawing, and for the way there and back on each day, all at one rate by the hour."""
    return (fieldwork_h + drawing_h + days * terms.travel_h) * terms.day_rate / terms.day_h
