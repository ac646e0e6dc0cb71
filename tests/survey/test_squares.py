"""The ground of a survey, square by square."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.returns.cloud import Cloud
from pipeline.survey.sample.square_sums import SQUARE_M
from pipeline.survey.squares import CALM, RESTLESS, STEEP, squares_of


def ground(*, slope: float = 0.0, waves_m: float = 0.0, per_m2: float = 3.0) -> Cloud:
    """Single returns from 90 m square of ground: a plane, with waves 10 m long."""
    rng = np.random.default_rng(3)
    place = rng.uniform(0, 90, (int(per_m2 * 8100), 2))
    waves = waves_m * np.sin(2 * np.pi * place[:, 0] / 10) * np.sin(2 * np.pi * place[:, 1] / 10)
    return Cloud.of(np.column_stack((place + 3000, 200 + slope * place[:, 0] + waves)))


@pytest.mark.parametrize(("slope", "waves_m", "kind"), [(0.1, 0.0, CALM), (0.1, 1.2, RESTLESS), (0.7, 0.0, STEEP)])
def test_ground_is_told_by_its_slope_and_its_restlessness(slope: float, waves_m: float, kind: int) -> None:
    """Most squares of a gentle plane are calm, of one with waves of 1.2 m restless, of one of 35 degrees steep."""
    found = squares_of([ground(slope=slope, waves_m=waves_m)])
    assert (found.kind == kind).mean() > 0.8


def test_density_is_that_of_the_ground_and_grows_with_what_was_not_read() -> None:
    """Three returns a m2; where a quarter of them was read, as many are told."""
    whole = squares_of([ground()])
    part = squares_of([ground(per_m2=0.75)], read_ratio=0.25)
    assert len(whole.place) == (90 / SQUARE_M) ** 2
    assert np.median(whole.ground_per_m2) == pytest.approx(3.0, rel=0.1)
    assert np.median(part.ground_per_m2) == pytest.approx(3.0, rel=0.1)


def test_a_square_with_too_few_returns_is_like_the_ground_around() -> None:
    """A dark square in the midst of a steep slope is steep."""
    cloud = ground(slope=0.7)
    dark = (np.floor(cloud.en / SQUARE_M) == (202, 202)).all(axis=1)
    keep = ~dark | (np.cumsum(dark) <= 2)
    found = squares_of([cloud.take(keep)])
    at = np.flatnonzero((found.place == (202, 202)).all(axis=1))
    assert found.ground_per_m2[at] < 0.05
    assert found.kind[at] == STEEP


@pytest.mark.parametrize("slope", [0.0, 0.04, 0.3])
def test_the_usual_slope_is_that_of_the_plane(slope: float) -> None:
    """Rise over run, whatever waves lie on it; none where too few returns tell it."""
    assert squares_of([ground(slope=slope, waves_m=0.3)]).usual_slope == pytest.approx(slope, abs=0.02)
    assert squares_of([ground(per_m2=0.01)]).usual_slope is None
