"""The base level that shows most is proposed, with what it gains."""

import numpy as np

from pipeline.landform.contours.base_level import count_base_levels, describe_base_levels, propose_base_level
from tests import landscape


def test_a_hill_between_two_levels_is_worth_a_shift() -> None:
    """Two hills that end at 104 m have no contour at 100 or 105 m, but one each at 101 to 103.5 m."""
    grid = landscape.grid_of()
    ground = landscape.level(grid, height_m=100.8)
    for east_m in (-50, 50):
        ground += landscape.bump(grid, east_m=east_m, north_m=0, height_m=3.2, radius_m=40)
    best = propose_base_level(count_base_levels(ground, grid, interval_m=5))[0]
    assert best.gain == 2
    assert best.n_hills == 2
    assert 1.0 <= best.offset_m <= 2.5
    assert "2 hills" in str(best)
    assert "+2 against 0 m" in str(best)


def test_no_shift_is_proposed_where_none_gains() -> None:
    """On an even slope all base levels are equal, and the plain one is first."""
    grid = landscape.grid_of()
    choices = propose_base_level(count_base_levels(landscape.plane(grid, rise_deg=15), grid, interval_m=5))
    assert len(choices) == 10
    assert choices[0].offset_m == 0
    assert all(choice.gain == 0 for choice in choices)
    assert np.ptp([choice.offset_m for choice in choices]) == 4.5


def test_the_report_names_the_setting_only_where_it_gains() -> None:
    """Two hills gained are worth a line with the setting to change; an even slope is not."""
    grid = landscape.grid_of()
    hills = landscape.level(grid, height_m=100.8)
    for east_m in (-50, 50):
        hills += landscape.bump(grid, east_m=east_m, north_m=0, height_m=3.2, radius_m=40)
    slope = landscape.plane(grid, rise_deg=15)
    told = [
        describe_base_levels(propose_base_level(count_base_levels(ground, grid, interval_m=5)), in_use_m=0.0)
        for ground in (hills, slope)
    ]
    assert "expert.landform.base_level_m" in told[0]
    assert "2 more" in told[0]
    assert "No other base level shows more" in told[1]
