"""How old a survey is and in which season it was flown, and what that means for the work."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast

OLD_FROM_YEARS = 5.0
"""Age from which undergrowth and felled stands have changed so much that greens are mapped nearly anew. Common
practice, no source."""


@dataclass(frozen=True)
class Age:
    """When a survey was flown.

    Attributes
    ----------
    season : leaf-on, leaf-off, in between or unknown
    first_day, last_day : of flight; None where nobody knows
    years : from the last day to the date of the map; None where nobody knows
    """

    season: str
    first_day: datetime.date | None
    last_day: datetime.date | None
    years: float | None


def age_of(survey: Mapping[str, object], /, *, map_date: datetime.date) -> Age:
    """The age of a survey, from `report/survey.json`."""
    flight = cast("Mapping[str, object]", survey.get("flight", {}))
    days = [datetime.date.fromisoformat(day) for day in cast("list[str]", flight.get("days", []))]
    season = str(flight.get("season", "unknown"))
    if not days:
        return Age(season, None, None, None)
    return Age(season, days[0], days[-1], (map_date - days[-1]).days / 365.25)


def said_of_age(age: Age, /) -> str:
    """A sentence on season and age, and what they cost."""
    leaves = {
        "leaf-off": "flown without leaves, the best season",
        "leaf-on": "flown in leaf: broadleaved forest looks greener than it is",
        "in between": "flown when leaves may have been out: check the greens of broadleaved forest first",
    }.get(age.season, "season of flight unknown")
    if age.years is None:
        return f"Survey: {leaves}; its age is unknown. Ask who flew it: what was felled or planted since is not in it."
    said = f"Survey: {leaves}; last flown {age.last_day}, {max(0.0, age.years):.1f} years before the date of the map."
    if age.years > OLD_FROM_YEARS:
        return f"{said} So old, greens and felled stands are mapped nearly anew: nearer the high estimate."
    return said
