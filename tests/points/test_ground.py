"""Ground: which returns came from the bare earth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.points.classes import embedded
from pipeline.settings import PointsSettings
from tests.terrain_clouds import knoll, returns_from, scatter, slope_of

find_ground = embedded(PointsSettings())


def ground_of(enh: np.ndarray) -> np.ndarray:
    """Ground when every return may be."""
    return find_ground(enh, np.ones(len(enh), bool))


@pytest.mark.parametrize("rise", [0.0, 0.3, 0.8, 1.2])
def test_bare_slopes_are_ground(rise: float) -> None:
    """Every even slope up to 50 degrees is all ground, but for the outermost metres of the survey."""
    enh = returns_from(slope_of(rise), 60)
    inner = (abs(enh[:, :2] - 30) < 27).all(axis=1)
    assert ground_of(enh)[inner].mean() > 0.995


@pytest.mark.parametrize("per_m2", [0.3, 1.0, 4.0, 12.0])
def test_house_is_no_ground(per_m2: float) -> None:
    """A house of 14 x 20 m, 6 m high, is taken off whole at any density, and the ground around it stays."""
    enh = returns_from(slope_of(0.1), 100, per_m2=per_m2)
    inside = (abs(enh[:, 0] - 50) < 7) & (abs(enh[:, 1] - 50) < 10)
    enh[inside, 2] = 111.0
    ground = ground_of(enh)
    assert not ground[inside].any()
    assert ground[~inside].mean() > 0.98


def test_hall_is_no_ground() -> None:
    """A hall of 44 x 44 m is within the widest window."""
    enh = returns_from(slope_of(0.0), 140, per_m2=2)
    inside = (abs(enh[:, 0] - 70) < 22) & (abs(enh[:, 1] - 70) < 22)
    enh[inside, 2] += 8.0
    assert not ground_of(enh)[inside].any()


def test_knoll_stays_ground() -> None:
    """A knoll 3 m high and 12 m wide belongs to the ground up to its top."""
    assert ground_of(returns_from(knoll(3.0, 6.0, 40.0), 80)).mean() > 0.99


def test_cliff_keeps_its_lip() -> None:
    """At a cliff of 4 m, nine of ten returns within 2 m of the edge are ground, above and below."""
    enh = returns_from(lambda e, n: 100 + np.where(e > 40 + 3 * np.sin(n / 9), 4.0, 0.0), 80, per_m2=8)
    near = abs(enh[:, 0] - 40 - 3 * np.sin(enh[:, 1] / 9)) < 2
    assert ground_of(enh)[near].mean() > 0.9


def test_forest_is_no_ground() -> None:
    """Of a forest with 30 % of its returns on a slope, ground is found, crowns and undergrowth above 0.6 m are not."""
    enh = returns_from(slope_of(0.3), 80, per_m2=8)
    random = np.random.default_rng(5)
    above = np.where(random.random(len(enh)) < 0.7, random.uniform(0.6, 20, len(enh)), 0.0)
    enh[:, 2] += np.round(above, 3)
    ground = ground_of(enh)
    assert ground[above == 0].mean() > 0.97
    assert ground[above > 0].mean() < 0.02


def test_echo_from_below_is_no_ground() -> None:
    """A lone return 8 m below the ground is not ground, and takes no ground with it."""
    enh = returns_from(slope_of(0.2), 60)
    enh[777, 2] -= 8.0
    ground = ground_of(enh)
    assert not ground[777]
    assert ground.mean() > 0.99


def test_nothing_gives_nothing() -> None:
    """No returns, and no candidates, are no ground."""
    assert ground_of(np.empty((0, 3))).shape == (0,)
    assert not find_ground(returns_from(slope_of(0), 20), np.zeros(1600, bool)).any()


def forest(size_m: float) -> np.ndarray:
    """Returns of a hilly forest with a house."""
    enh = returns_from(lambda e, n: 200 + 4 * np.sin(e / 17) + 3 * np.cos(n / 11), size_m, per_m2=3)
    random = np.random.default_rng(9)
    enh[:, 2] += np.round(np.where(random.random(len(enh)) < 0.5, random.uniform(0.3, 15, len(enh)), 0.0), 3)
    enh[(abs(enh[:, 0] - 40) < 6) & (abs(enh[:, 1] - 44) < 8), 2] = 215.0
    return enh


@settings(max_examples=5, deadline=None)
@given(east=st.integers(-500_000, 500_000), north=st.integers(-5_000, 7_000_000), seed=st.integers(0, 99))
def test_moved_and_shuffled_returns_give_the_same_ground(east: int, north: int, seed: int) -> None:
    """Whole metres of shift and any order of the returns change nothing."""
    enh = forest(80)
    order = np.random.default_rng(seed).permutation(len(enh))
    moved = enh[order] + np.array([4.0 * (east // 4), 4.0 * (north // 4), 0.0])
    np.testing.assert_array_equal(ground_of(moved), ground_of(enh)[order])


@pytest.mark.parametrize(("halo_m", "same"), [(90.0, True), (0.0, False)])
def test_cut_block_gives_the_same_ground(halo_m: float, same: bool) -> None:
    """A block's core is the same however much lies beyond its halo; without a halo it is not (negative control)."""
    enh = forest(240)
    core = (abs(enh[:, 0] - 120) < 25) & (abs(enh[:, 1] - 120) < 25)
    seen = (abs(enh[:, 0] - 120) < 25 + halo_m) & (abs(enh[:, 1] - 120) < 25 + halo_m)
    assert np.array_equal(ground_of(enh[seen])[core[seen]], ground_of(enh)[core]) is same


def test_places_do_not_repeat() -> None:
    """The clouds of these tests are no lattice: a triangulation of them has no ties."""
    assert len(np.unique(scatter(50, per_m2=4), axis=0)) == 10_000
