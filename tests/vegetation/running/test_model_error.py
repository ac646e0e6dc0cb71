"""What is stated of undergrowth holds where plants do not stand as the estimate takes them to."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pipeline.vegetation.running.density import LOW_SPREAD_RATIO, MODEL_SPREAD_RATIO
from tests.benchmarks.undergrowth_scenes import (
    AS_TAKEN,
    FITTED_ON,
    TRIED_ON,
    areas_of,
    fitted,
    squares_of,
)
from tests.undergrowth_scene import Way

pytestmark = pytest.mark.slow
SEED = 21
"""Neither fitted nor tried on in the benchmark."""


def way_of(name: str) -> Way:
    """One of the benchmark's ways."""
    return next(way for way in (*FITTED_ON, *TRIED_ON) if way.name == name)


def off_by(way: Way) -> pd.Series:
    """Measured less true density of each square, in stated errors."""
    squares = squares_of(way, SEED)
    return (squares["density"] - squares["true"]) / squares["error"]


def test_plants_that_stand_as_taken_are_measured_without_bias() -> None:
    """The control: nearly all bands right, and no lean to either side of more than 0.03 m2/m3."""
    squares = squares_of(AS_TAKEN, SEED)
    assert abs((squares["density"] - squares["true"]).mean()) < 0.03
    assert squares["is_right"].mean() > 0.9


@pytest.mark.parametrize(
    "name", ["leaves aslant", "thins out downwards", "young trees, 1 to 4 m", "over fern, 0.7 m, which slows nobody"]
)
def test_two_stated_errors_hold_the_truth_in_ways_not_fitted_on(name: str) -> None:
    """In nine squares of ten at least, in ways and on a seed that the error was not fitted on."""
    assert (off_by(way_of(name)).abs() <= 2).mean() >= 0.9


def test_lying_leaves_are_taken_for_more_and_clumps_for_less() -> None:
    """The faults are there, so the tests above could fail: a factor of 1.4 up, and of 0.8 down."""
    for name, least, most in (
        ("leaves lie", 1.4, 1.9),
        ("in clumps of 1.5 m on half of the ground", 0.5, 0.8),
    ):
        squares = squares_of(way_of(name), SEED)
        thick = squares[squares["true"] > 0.1]
        assert least < (thick["density"] / thick["true"]).median() < most


def test_areas_are_not_said_to_be_surer_than_they_are() -> None:
    """Over ways that the error was not fitted on: mean confidence at most 0.08 above the share that is right."""
    ways = [
        way_of(name) for name in ("leaves aslant", "over fern, 0.7 m, which slows nobody", "receiver blind for 1.2 m")
    ]
    areas = pd.concat([areas_of(way, SEED) for way in ways])
    assert len(areas) >= 20
    assert areas["confidence"].mean() <= areas["is_right"].mean() + 0.08


def test_the_fit_finds_the_error_that_was_put_in() -> None:
    """Areas whose true densities scatter by known shares of the whole and of the low part give those shares back."""
    rng = np.random.default_rng(1)
    density, low = np.full(4000, 0.5), np.where(np.arange(4000) % 2, 0.5, 0.0)
    sigma = np.hypot(MODEL_SPREAD_RATIO, LOW_SPREAD_RATIO * low / density)
    true = density * np.exp(rng.normal(0, sigma))
    found = fitted(pd.DataFrame({"true": true, "density": density, "low": low, "error": np.zeros(4000)}))
    assert found == pytest.approx((MODEL_SPREAD_RATIO, LOW_SPREAD_RATIO), abs=0.03)
