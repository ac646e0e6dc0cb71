"""The leaf season is told from dates where there are any, from crowns otherwise, and never guessed."""

from __future__ import annotations

import datetime

import pytest

from pipeline.intake.leaf_calendar import Season, season_of
from pipeline.settings import SurveySettings
from pipeline.vegetation.running.leaves import leaf_season

SURVEY = SurveySettings()


@pytest.mark.parametrize(
    ("day", "lat_deg", "elevation_m", "season"),
    [
        ((2020, 1, 15), 60.0, 50.0, "leaf-off"),
        ((2020, 7, 15), 60.0, 50.0, "leaf-on"),
        ((2020, 5, 1), 60.0, 50.0, "leaf-off"),
        ((2020, 5, 20), 45.0, 200.0, "leaf-on"),
        ((2020, 5, 3), 45.0, 0.0, "in between"),
        ((2014, 4, 15), 35.0, 2150.0, "leaf-off"),
        ((2014, 4, 15), 35.0, 0.0, "leaf-on"),
        ((2020, 1, 15), -38.0, 100.0, "leaf-on"),
        ((2020, 7, 15), -38.0, 100.0, "leaf-off"),
        ((2020, 7, 15), 19.0, 0.0, "unknown"),
    ],
)
def test_season_follows_day_latitude_and_height(
    day: tuple[int, int, int], lat_deg: float, elevation_m: float, season: Season
) -> None:
    """Plain cases any forester would agree on, in both hemispheres (common practice, no source)."""
    assert season_of([datetime.date(*day)], lat_deg=lat_deg, elevation_m=elevation_m, settings=SURVEY) == season


def test_the_middle_of_may_is_not_told_where_climates_differ() -> None:
    """At 52 degrees beeches are out in May by the sea, and a month later inland: one day cannot say which."""
    day = [datetime.date(2026, 5, 16)]
    assert season_of(day, lat_deg=51.8, elevation_m=330.0, settings=SURVEY) == "in between"


def test_days_in_both_seasons_are_in_between() -> None:
    """A survey flown in winter and finished in summer is neither."""
    days = [datetime.date(2020, 1, 15), datetime.date(2020, 7, 15)]
    assert season_of(days, lat_deg=50.0, elevation_m=100.0, settings=SURVEY) == "in between"
    assert season_of([], lat_deg=50.0, elevation_m=100.0, settings=SURVEY) == "unknown"


def test_a_cold_place_has_leaves_when_its_settings_say_so() -> None:
    """At the tree line leaves come in June: the same flight has them or not by the settings."""
    late = SurveySettings(leaves_out_days_of_year=(165.0, 170.0))
    day = [datetime.date(2024, 6, 1)]
    told = [season_of(day, lat_deg=45.0, elevation_m=0.0, settings=settings) for settings in (SURVEY, late)]
    assert told == ["leaf-on", "leaf-off"]


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


def test_in_the_tropics_dates_tell_nothing() -> None:
    """No summer and no winter there; the day is told all the same."""
    days = [datetime.date(2024, 7, 1)]
    by_days = season_of(days, lat_deg=5, elevation_m=0.0, settings=SURVEY)
    told = leaf_season(days, by_days, tree_pulses=5e4, tree_through=5e3)
    assert told.told_from == "crowns"
    assert "2024-07-01" in told.message


def test_without_trees_and_dates_it_is_unknown() -> None:
    """Nothing to go by."""
    assert leaf_season([], "unknown", tree_pulses=3, tree_through=1).leaves == "unknown"
