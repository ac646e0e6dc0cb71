"""The leaf season is told from dates where there are any, from crowns otherwise, and never guessed."""

from __future__ import annotations

import datetime

import pytest

from pipeline.intake.leaf_calendar import Season
from pipeline.vegetation.running.leaves import leaf_season


@pytest.mark.parametrize("by_days", ["leaf-on", "leaf-off", "in between"])
def test_dates_decide(by_days: Season) -> None:
    """What the survey says of its days is what the sheet says, whatever the crowns look like."""
    told = leaf_season([datetime.date(2024, 4, 1)], by_days, tree_pulses=5e4, tree_through=5e3)
    assert (told.leaves, told.told_from) == (by_days, "dates")
    assert "2024-04-01" in told.message


@pytest.mark.parametrize(("through", "leaves"), [(0.7, "leaf-off"), (0.1, "leaf-on"), (0.45, "unknown")])
def test_without_dates_the_crowns_tell_what_they_can(through: float, leaves: str) -> None:
    """Bare crowns let most pulses through; in between nothing is claimed."""
    told = leaf_season([], "unknown", tree_pulses=10_000, tree_through=through * 10_000)
    assert (told.leaves, told.told_from) == (leaves, "crowns")


def test_where_dates_tell_nothing_the_crowns_do() -> None:
    """Near the equator there is no summer and no winter; the day is told all the same."""
    days = [datetime.date(2024, 7, 1)]
    told = leaf_season(days, "unknown", tree_pulses=5e4, tree_through=5e3)
    assert told.told_from == "crowns"
    assert "2024-07-01" in told.message


def test_without_trees_and_dates_it_is_unknown() -> None:
    """Nothing to go by."""
    assert leaf_season([], "unknown", tree_pulses=3, tree_through=1).leaves == "unknown"
