"""The planning example in print, reproduced by the estimate's assumptions.

Source: a page of a handbook for makers of orienteering maps from before lidar (lazarus.elte.hu/mc/ik/fieldw.htm).
Survey takes 10 to 60 hours a square kilometre; with 25 hours a square kilometre and 6 hours a day, 10 square kilometres
take 42 days, and 50 with a reserve of at least a fifth.
"""

import pytest

from pipeline.effort.costs import RESERVE_RATIO, Terms, days_for, days_of
from pipeline.effort.rates.hours import hours_without_draft
from pipeline.effort.rates.trade import Range
from pipeline.settings import EffortSettings
from tests.effort.made_ground import USABLE, ground


def test_ten_square_kilometres_take_42_days_and_50_with_the_reserve() -> None:
    """By the default of the area file for the hours of a day."""
    day_h = EffortSettings().day_h
    days = days_for(Range(100, 250, 600), Terms(day_h=day_h, day_rate=0, travel_h=0, mappers=1, days_a_week=7))
    assert (days["likely"], days["planned"]) == (42, 50)
    assert days_of(250, day_h=day_h, reserve_ratio=0) != days_of(250, day_h=day_h, reserve_ratio=RESERVE_RATIO)


def test_ten_square_kilometres_of_ordinary_forest_are_the_example() -> None:
    """The rates of the tasks, which are ours, add up to the published whole."""
    hours = hours_without_draft(ground(area_km2=10.0), grades=USABLE, scale=10000).sum()
    assert hours == pytest.approx(250, rel=0.04)
    assert days_of(float(hours), day_h=6) == pytest.approx(42, abs=1)
