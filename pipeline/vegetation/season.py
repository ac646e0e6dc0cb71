"""Whether the leaves were out when the survey was flown: from its dates, else from what the crowns let through."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pipeline.settings import VegetationSettings

LeafSeason = Literal["leaf-on", "leaf-off", "mixed", "unknown"]

TROPICS_DEG = 23.5
"""Latitude of the tropics, rounded up: nearer to the equator there is no summer and no winter."""


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
    dates: Sequence[datetime.date],
    /,
    *,
    latitude_deg: float,
    tree_pulses: float,
    tree_through: float,
    settings: VegetationSettings,
) -> Season:
    """Leaf season of a survey.

    Parameters
    ----------
    dates : days of flight, from GPS time or the header; may be empty
    latitude_deg : of the area, south negative
    tree_pulses, tree_through : pulses that met a crown, and those of them that reached the ground
    """
    if dates and abs(latitude_deg) > TROPICS_DEG:
        return _from_dates(dates, south=latitude_deg < 0, settings=settings)
    return _from_crowns(tree_pulses, tree_through, settings=settings)


def _from_dates(dates: Sequence[datetime.date], *, south: bool, settings: VegetationSettings) -> Season:
    on = {_has_leaves(day, south=south, settings=settings) for day in dates}
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


def _has_leaves(day: datetime.date, *, south: bool, settings: VegetationSettings) -> bool:
    """Whether broadleaf trees have leaves; six months later in the south."""
    month = (day.month + 5) % 12 + 1 if south else day.month
    return settings.leaves_from_month_day <= (month, day.day) <= settings.leaves_until_month_day


def _from_crowns(tree_pulses: float, tree_through: float, *, settings: VegetationSettings) -> Season:
    if tree_pulses < settings.season_least_tree_pulses:
        return Season("unknown", "nothing", "No flight dates and too few trees: the leaf season is not known.")
    share = tree_through / tree_pulses
    seen = f"{share:.0%} of the pulses that touch a crown reach the ground"
    if share > settings.leaf_off_min_through_ratio:
        return Season("leaf-off", "crowns", f"No flight dates; {seen}: crowns without leaves.")
    if share < settings.leaf_on_max_through_ratio:
        return Season("leaf-on", "crowns", f"No flight dates; {seen}: leaves out, or evergreen forest.")
    return Season("unknown", "crowns", f"No flight dates; {seen}: bare crowns and open ones look alike.")
