"""The club's own hours: known rates are found, error is said, too short a history is refused."""

import numpy as np
import pytest

from pipeline.effort.rates.history import LEAST_AREAS, Past, fit_history, pace_of
from pipeline.effort.rates.hours import TRADE_PACE
from tests.effort.made_history import made_history, made_hours


@pytest.mark.parametrize("seed", range(4))
def test_known_rates_are_found_within_15_per_cent(seed: int) -> None:
    """Twelve areas, no noise: each task's rate by itself."""
    past, factor = made_history(seed)
    fit = fit_history(past)
    assert np.abs(fit.factor / factor - 1).max() < 0.15
    assert fit.error < 0.03 < fit.trade_error


@pytest.mark.parametrize("seed", range(4))
def test_under_noise_hours_are_told_within_15_per_cent_and_the_error_is_said(seed: int) -> None:
    """Hours written down a tenth off: new areas are told within 15 %, and the error said is near the true one."""
    past, factor = made_history(seed, noise=0.1)
    fit = fit_history(past)
    _, new = made_hours(np.random.default_rng(seed + 100), 60)
    off = np.log((new @ fit.factor) / (new @ factor))
    assert np.sqrt((off**2).mean()) < 0.15
    assert 0.05 < fit.error < 0.3
    said = " ".join(pace_of(past).said)
    assert f"{fit.error:.0%}" in said or "is not used" in said


@pytest.mark.parametrize("seed", range(4))
def test_under_noise_rates_are_found_within_15_per_cent_by_their_hours(seed: int) -> None:
    """Hours written down three per cent off: rates, each counted by its hours, are within 15 %."""
    past, factor = made_history(seed, noise=0.03)
    off = np.abs(fit_history(past).factor / factor - 1)
    assert np.average(off, weights=(past.trade_h * factor).sum(axis=0)) < 0.15


@pytest.mark.parametrize("noise", [0.02, 0.1])
def test_eight_factors_in_ten_lie_within_the_doubt_that_is_said(noise: float) -> None:
    """Over 12 made histories; and factors with little doubt are nearer the truth than the rest."""
    off, doubt = [], []
    for seed in range(12):
        past, factor = made_history(seed, noise=noise)
        fit = fit_history(past)
        off.append(np.abs(fit.factor - factor))
        doubt.append(fit.doubt)
    within = np.mean(np.array(off) <= 1.28 * np.array(doubt))
    assert 0.65 < within < 0.95
    sure = np.array(doubt) < np.median(doubt)
    assert np.array(off)[sure].mean() < np.array(off)[~sure].mean()


def test_no_factor_is_below_zero_even_where_hours_are_nonsense() -> None:
    """Hours that have nothing to do with the ground."""
    past, _ = made_history(1)
    shuffled = Past(past.area_km2, past.trade_h, past.hours[::-1] * 3, past.drawing_h)
    assert fit_history(shuffled).factor.min() >= 0


def test_three_areas_are_refused_and_the_reason_is_said() -> None:
    """The trade's rates stay."""
    past, _ = made_history(1, n=3)
    pace = pace_of(past)
    assert pace.factor.tolist() == TRADE_PACE.factor.tolist()
    assert "3 areas and is not used" in pace.said[0]
    assert f"fewer than {LEAST_AREAS}" in pace.said[0]


def test_a_history_that_tells_no_better_than_the_trade_is_not_used() -> None:
    """Hours that scatter by half about the trade's rates: fitting follows the scatter."""
    rng = np.random.default_rng(3)
    area_km2, trade_h = made_hours(rng, 8)
    hours = trade_h.sum(axis=1) * np.exp(rng.normal(0, 0.5, 8))
    fit = fit_history(Past(area_km2, trade_h, hours, np.full(8, np.nan)))
    pace = pace_of(Past(area_km2, trade_h, hours, np.full(8, np.nan)))
    assert fit.error >= fit.trade_error
    assert "is not used" in pace.said[0]
    assert pace.factor.tolist() == TRADE_PACE.factor.tolist()


def test_a_good_history_narrows_the_range_and_says_what_it_explains() -> None:
    """The low and high estimate come nearer the likely one; tasks it tells and tasks it does not are named."""
    past, _ = made_history(2, noise=0.03)
    pace = pace_of(past)
    assert TRADE_PACE.spread.low < pace.spread.low < 1 < pace.spread.high < TRADE_PACE.spread.high
    said = " ".join(pace.said)
    assert "fitted to your 12 areas" in said
    assert "of the differences between areas" in said


def test_drawing_is_the_clubs_where_enough_areas_say() -> None:
    """Seven tenths of the fieldwork on every map."""
    past, _ = made_history(2)
    pace = pace_of(Past(past.area_km2, past.trade_h, past.hours, 0.7 * past.hours))
    assert pace.drawing.likely == pytest.approx(0.7)
    some = np.where(np.arange(12) < 3, 0.7 * past.hours, np.nan)
    assert pace_of(Past(past.area_km2, past.trade_h, past.hours, some)).drawing == TRADE_PACE.drawing
