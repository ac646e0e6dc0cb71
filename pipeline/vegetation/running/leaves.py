"""Whether the leaves were out when the survey was flown: from its dates, else from what the crowns let through."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pipeline.intake.leaf_calendar import Season

LEAF_OFF_MIN_THROUGH_RATIO = 0.55
"""Of the pulses that touch a bare crown a greater share than this reaches the ground (our choice; unmeasured)."""
LEAF_ON_MAX_THROUGH_RATIO = 0.35
"""Of the pulses that touch a crown with leaves or needles a smaller share than this reaches the ground (our choice;
unmeasured). What lies between the two may be either."""
LEAST_TREE_PULSES = 1000.0
"""With fewer pulses on crowns these do not tell the season: a dozen trees at 4 pulses/m2 (our choice)."""


@dataclass(frozen=True)
class LeafSeason:
    """What is known of the leaves.

    Attributes
    ----------
    leaves : "in between" also where some flights were on one side and some on the other
    told_from : "dates", "crowns" or "nothing"
    message : one sentence for the report
    """

    leaves: Season
    told_from: Literal["dates", "crowns", "nothing"]
    message: str


def leaf_season(
    days: Sequence[datetime.date], by_days: Season, /, *, tree_pulses: float, tree_through: float
) -> LeafSeason:
    """Leaf season of a survey.

    Parameters
    ----------
    days, by_days : days of flight, from GPS time or the header, and what they say; "unknown" where they say nothing
    tree_pulses, tree_through : pulses that met a crown, and those of them that reached the ground
    """
    if by_days == "unknown":
        return _from_crowns(days, tree_pulses, tree_through)
    return LeafSeason(by_days, "dates", f"Flown {_span(days)}, {_MEANING[by_days]}")


_MEANING: dict[Season, str] = {
    "leaf-on": "leaves out: broadleaf undergrowth counts in full, as in a summer race.",
    "leaf-off": "without leaves: broadleaf undergrowth will be denser in summer than drawn.",
    "in between": "leaves coming or falling, or out on some days only: broadleaf undergrowth may be denser in summer "
    "than drawn.",
}


def _span(days: Sequence[datetime.date]) -> str:
    first, last = min(days), max(days)
    return f"on {first:%Y-%m-%d}" if first == last else f"from {first:%Y-%m-%d} to {last:%Y-%m-%d}"


def _from_crowns(days: Sequence[datetime.date], tree_pulses: float, tree_through: float) -> LeafSeason:
    flown = f"Flown {_span(days)}, near the tropics" if days else "No flight dates"
    if tree_pulses < LEAST_TREE_PULSES:
        return LeafSeason("unknown", "nothing", f"{flown}, and too few trees: the leaf season is not known.")
    share = tree_through / tree_pulses
    seen = f"{share:.0%} of the pulses that touch a crown reach the ground"
    if share > LEAF_OFF_MIN_THROUGH_RATIO:
        return LeafSeason("leaf-off", "crowns", f"{flown}; {seen}: crowns without leaves.")
    if share < LEAF_ON_MAX_THROUGH_RATIO:
        return LeafSeason("leaf-on", "crowns", f"{flown}; {seen}: leaves out, or evergreen forest.")
    return LeafSeason("unknown", "crowns", f"{flown}; {seen}: bare crowns and open ones look alike.")
