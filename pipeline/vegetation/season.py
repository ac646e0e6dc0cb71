"""Whether the leaves were out when the survey was flown: from its dates, else from what the crowns let through."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

LeafSeason = Literal["leaf-on", "leaf-off", "mixed", "unknown"]

LEAF_ON_NORTH = ((5, 10), (10, 20))
"""First and last day with leaves north of the tropics, month and day: common practice for temperate broadleaf forest,
no source; three weeks either side are a matter of the year and the altitude."""
TROPICS_DEG = 23.5
LEAF_OFF_THROUGH = 0.55
"""Bare crowns let more than this share of the pulses that touch them reach the ground (common practice, no source)."""
CLOSED_THROUGH = 0.35
"""Leaves or needles let less than this through (common practice, no source)."""


@dataclass(frozen=True)
class Season:
    """What is known of the leaves.

    Attributes
    ----------
    leaves : "mixed" where some flights were on one side and some on the other
    told_from : "dates", "crowns" or "nothing"
    message : one sentence for the report
    """

    leaves: LeafSeason
    told_from: Literal["dates", "crowns", "nothing"]
    message: str


def leaf_season(
    dates: Sequence[datetime.date], /, *, latitude_deg: float, tree_pulses: float, tree_through: float
) -> Season:
    """Leaf season of a survey.

    Parameters
    ----------
    dates : days of flight, from GPS time or the header; may be empty
    latitude_deg : of the area, south negative
    tree_pulses, tree_through : pulses that met a crown, and those of them that reached the ground
    """
    if dates and abs(latitude_deg) > TROPICS_DEG:
        return _from_dates(dates, south=latitude_deg < 0)
    return _from_crowns(tree_pulses, tree_through)


def _from_dates(dates: Sequence[datetime.date], *, south: bool) -> Season:
    on = {_has_leaves(day, south=south) for day in dates}
    first, last = min(dates), max(dates)
    span = f"on {first:%Y-%m-%d}" if first == last else f"from {first:%Y-%m-%d} to {last:%Y-%m-%d}"
    if len(on) == 2:
        text = f"Flown {span}, partly with leaves and partly without: greens of the two parts do not compare."
        return Season("mixed", "dates", text)
    if on.pop():
        text = f"Flown {span}, leaves out: broadleaf undergrowth counts in full, as in a summer race."
        return Season("leaf-on", "dates", text)
    text = f"Flown {span}, without leaves: broadleaf undergrowth will be denser in summer than drawn."
    return Season("leaf-off", "dates", text)


def _has_leaves(day: datetime.date, *, south: bool) -> bool:
    """Whether broadleaf trees have leaves; six months later in the south."""
    month = (day.month + 5) % 12 + 1 if south else day.month
    first, last = LEAF_ON_NORTH
    return first <= (month, day.day) <= last


def _from_crowns(tree_pulses: float, tree_through: float) -> Season:
    if tree_pulses < 1000:
        return Season("unknown", "nothing", "No flight dates and too few trees: the leaf season is not known.")
    share = tree_through / tree_pulses
    seen = f"{share:.0%} of the pulses that touch a crown reach the ground"
    if share > LEAF_OFF_THROUGH:
        return Season("leaf-off", "crowns", f"No flight dates; {seen}: crowns without leaves.")
    if share < CLOSED_THROUGH:
        return Season("leaf-on", "crowns", f"No flight dates; {seen}: leaves out, or evergreen forest.")
    return Season("unknown", "crowns", f"No flight dates; {seen}: bare crowns and open ones look alike.")
