"""The leaf season by the calendar: day, latitude and height."""

from __future__ import annotations

import datetime

import pytest

from pipeline.intake.leaf_calendar import LeafDays, Season, season_by_calendar

LEAF_DAYS = LeafDays(out_by_the_sea=110.0, out_inland=121.0, down=305.0)
"""20 April, 1 May and 1 November, as the settings have them."""


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
    assert (
        season_by_calendar([datetime.date(*day)], lat_deg=lat_deg, elevation_m=elevation_m, leaf_days=LEAF_DAYS)
        == season
    )


def test_the_middle_of_may_is_not_told_where_climates_differ() -> None:
    """At 52 degrees beeches are out in May by the sea, and a month later inland: one day cannot say which."""
    day = [datetime.date(2026, 5, 16)]
    assert season_by_calendar(day, lat_deg=51.8, elevation_m=330.0, leaf_days=LEAF_DAYS) == "in between"


def test_days_in_both_seasons_are_in_between() -> None:
    """A survey flown in winter and finished in summer is neither."""
    days = [datetime.date(2020, 1, 15), datetime.date(2020, 7, 15)]
    assert season_by_calendar(days, lat_deg=50.0, elevation_m=100.0, leaf_days=LEAF_DAYS) == "in between"
    assert season_by_calendar([], lat_deg=50.0, elevation_m=100.0, leaf_days=LEAF_DAYS) == "unknown"


def test_a_cold_place_has_leaves_when_it_is_told_so() -> None:
    """At the tree line leaves come in June: the same flight has them or not by the days given."""
    late = LeafDays(out_by_the_sea=165.0, out_inland=170.0, down=305.0)
    day = [datetime.date(2024, 6, 1)]
    told = [
        season_by_calendar(day, lat_deg=45.0, elevation_m=0.0, leaf_days=leaf_days) for leaf_days in (LEAF_DAYS, late)
    ]
    assert told == ["leaf-on", "leaf-off"]
