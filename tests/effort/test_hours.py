"""Hours from measures: the trade's figures, monotone rates, what a draft saves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.effort.rates.gain import grades_of, missed_h_per_km2, saved_share
from pipeline.effort.rates.hours import hours_with_draft, hours_without_draft
from pipeline.effort.rates.trade import MEASURES, RATES, TASKS
from tests.effort.made_ground import GOOD, USABLE, ground

INTRICATE = {
    "slope_km2": 0.35, "contour_km": 60.0, "landforms": 250.0, "rocks": 500.0, "rock_km": 10.0, "stands": 300.0,
    "edges_km": 110.0, "not_seen_km2": 0.08,
}  # fmt: skip
PLAIN = {
    "slope_km2": 0.05, "contour_km": 8.0, "landforms": 5.0, "rocks": 2.0, "rock_km": 0.0, "stands": 15.0,
    "edges_km": 8.0, "paths_km": 1.0, "waters": 2.0, "water_km": 0.5, "built": 2.0, "built_km": 1.0,
    "not_seen_km2": 0.0,
}  # fmt: skip
GRADE = st.sampled_from(["good", "usable", "poor", "not possible"])


def per_km2(held: dict[str, float]) -> float:
    """Hours without a draft of a square kilometre of ordinary forest that holds other things than usual."""
    return float(hours_without_draft(ground(area_km2=1.0, **held), grades=USABLE, scale=10000).sum())


def test_three_kinds_of_ground_cost_what_the_trade_says() -> None:
    """Ordinary forest 25 hours a square kilometre, intricate rocky ground 60 to 100, the plainest 10 and a little."""
    assert per_km2({}) == pytest.approx(25, abs=1)
    assert 60 <= per_km2(INTRICATE) <= 100
    assert 10 <= per_km2(PLAIN) <= 13


def test_a_draft_saves_some_of_ordinary_forest_and_all_rates_are_above_zero() -> None:
    """With a draft it is 15 to 25 hours, within what is said of lidar."""
    with_draft = hours_with_draft(ground(area_km2=1.0), grades=USABLE, scale=10000).sum()
    assert 15 <= with_draft < per_km2({})
    assert all(rate > 0 for rates in RATES.values() for rate in rates.values())


@given(st.sampled_from([m for m in MEASURES if m not in ("area_km2", "open_km2", "fit_km2")]), st.floats(0, 500), GRADE)
def test_more_of_anything_never_takes_less(measure: str, more: float, grade: str) -> None:
    """Whatever the survey shows: no measure lowers the hours of any task, with the draft and without."""
    grades = dict.fromkeys(TASKS, grade)
    before, after = ground(), ground()
    after[measure] += min(more, 0.05) if measure == "not_seen_km2" else more
    for hours in (hours_with_draft, hours_without_draft):
        assert (hours(after, grades=grades, scale=10000) >= hours(before, grades=grades, scale=10000) - 1e-9).all()


def test_nothing_is_saved_on_open_land_and_on_ground_not_seen() -> None:
    """All open, or nothing seen: with a draft as long as without one; forest well seen: shorter."""
    for blind in ({"open_km2": 1.0}, {"not_seen_km2": 1.0}):
        assert saved_share(ground(**blind), GOOD).max() == 0
    assert saved_share(ground(open_km2=0.0, not_seen_km2=0.0), GOOD).max() == pytest.approx(0.4)


def test_what_a_survey_cannot_show_is_full_fieldwork() -> None:
    """The draft holds no rock and saves nothing of it; what ordinary forest holds is added."""
    lost = USABLE | {"rock": "not possible"}
    none = ground(area_km2=1.0, rocks=0.0, rock_km=0.0)
    hours = dict(zip(TASKS, hours_with_draft(none, grades=lost, scale=10000)[0], strict=True))
    assert hours["rock"] == pytest.approx(1.0 + 50 * 0.04 + 0.8)
    assert saved_share(none, lost)[0, TASKS.index("rock")] == 0
    assert missed_h_per_km2(USABLE).sum() == 0


def test_the_worse_verdict_of_two_counts() -> None:
    """Rock is as well shown as the worse of boulders and cliffs; a kind that was not judged is usable."""
    verdicts = [{"feature": "boulders", "grade": "poor"}, {"feature": "cliffs", "grade": "good"}]
    grades = grades_of({"verdicts": verdicts})
    assert grades["rock"] == "poor"
    assert grades["water"] == "usable"
    assert grades["not_seen"] == "not possible"


def test_a_coarser_scale_takes_less() -> None:
    """In the order of the scales."""
    hours = [hours_with_draft(ground(), grades=USABLE, scale=scale).sum() for scale in (15000, 10000, 7500, 5000)]
    assert np.all(np.diff(hours) > 0)
