"""The leaf season is told from dates where there are any, from crowns otherwise, and never guessed."""

from __future__ import annotations

import datetime

import pytest

from pipeline.settings import VegetationSettings
from pipeline.vegetation.season import leaf_season

SETTINGS = VegetationSettings()
CROWNS = {"tree_pulses": 50_000.0, "tree_through": 5_000.0, "settings": SETTINGS}


@pytest.mark.parametrize(
    ("day", "latitude_deg", "leaves"),
    [
        ("2024-04-01", 55, "leaf-off"),
        ("2024-07-15", 55, "leaf-on"),
        ("2024-07-15", -35, "leaf-off"),
        ("2024-01-15", -35, "leaf-on"),
    ],
)
def test_dates_decide(day: str, latitude_deg: float, leaves: str):
    """Spring and summer, north and south."""
    season = leaf_season([datetime.date.fromisoformat(day)], latitude_deg=latitude_deg, **CROWNS)
    assert (season.leaves, season.told_from) == (leaves, "dates")
    assert day in season.message


def test_flights_on_both_sides_are_mixed():
    """April and June together compare with nothing."""
    days = [datetime.date(2023, 4, 2), datetime.date(2023, 6, 20)]
    assert leaf_season(days, latitude_deg=60, **CROWNS).leaves == "mixed"


@pytest.mark.parametrize(("through", "leaves"), [(0.7, "leaf-off"), (0.1, "leaf-on"), (0.45, "unknown")])
def test_without_dates_the_crowns_tell_what_they_can(through: float, leaves: str):
    """Bare crowns let most pulses through; in between nothing is claimed."""
    season = leaf_season([], latitude_deg=50, tree_pulses=10_000, tree_through=through * 10_000, settings=SETTINGS)
    assert (season.leaves, season.told_from) == (leaves, "crowns")


def test_in_the_tropics_dates_tell_nothing():
    """No summer and no winter there."""
    assert leaf_season([datetime.date(2024, 7, 1)], latitude_deg=5, **CROWNS).told_from == "crowns"


def test_without_trees_and_dates_it_is_unknown():
    """Nothing to go by."""
    assert leaf_season([], latitude_deg=50, tree_pulses=3, tree_through=1, settings=SETTINGS).leaves == "unknown"


def test_a_cold_place_has_leaves_when_its_settings_say_so():
    """At the tree line leaves come in June: the same flight in May has them or not by the settings."""
    late = VegetationSettings(leaves_from_month_day=(6, 10), leaves_until_month_day=(9, 20))
    told = [
        leaf_season([datetime.date(2024, 5, 25)], latitude_deg=60, tree_pulses=0, tree_through=0, settings=settings)
        for settings in (SETTINGS, late)
    ]
    assert [season.leaves for season in told] == ["leaf-on", "leaf-off"]
