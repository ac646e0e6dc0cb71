"""Stray low returns: ground that one return alone claims against its neighbours is not ground."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.points.classes import embedded
from pipeline.points.ground.lowest import lowest_returns
from pipeline.points.ground.objects import cut_at
from pipeline.points.ground.strays import InCells, without_lone_lows
from pipeline.settings import PointsSettings
from tests.terrain_clouds import Numbers, returns_from, slope_of

find_ground = embedded(PointsSettings())
SIDE_M = 100.0
EVERY_M = 12


def ground_of(enh: Numbers) -> np.ndarray:
    """Ground when every return may be."""
    return find_ground(enh, np.ones(len(enh), bool))


def places_apart(enh: Numbers) -> Numbers:
    """Numbers of returns 12 m apart. Those near the rim of the survey are left alone."""
    lattice = np.arange(10, SIDE_M - 9, EVERY_M)
    places = [(east, north) for east in lattice for north in lattice]
    return np.array([np.argmin(np.hypot(enh[:, 0] - east, enh[:, 1] - north)) for east, north in places])


@pytest.mark.parametrize("rise", [0.0, 0.5])
@pytest.mark.parametrize("depth_m", [0.4, 0.7, 1.2, 3.0])
def test_lone_low_return_is_no_ground_and_makes_no_pit(depth_m: float, rise: float) -> None:
    """At most one of 49 strays is taken for ground, and what lies within 2 m of them stays ground."""
    enh = returns_from(slope_of(rise), SIDE_M, per_m2=6)
    stray = places_apart(enh)
    before = ground_of(enh)
    enh[stray, 2] -= depth_m
    after = ground_of(enh)
    assert after[stray].sum() <= 1
    near = np.zeros(len(enh), bool)
    for east, north in enh[stray, :2]:
        near |= np.hypot(enh[:, 0] - east, enh[:, 1] - north) < 2
    near[stray] = False
    assert after[near & before].mean() > 0.995


@pytest.mark.parametrize(("width_m", "depth_m"), [(1.5, 0.8), (2.0, 1.5), (3.0, 2.0)])
def test_pit_that_several_pulses_reach_stays(width_m: float, depth_m: float) -> None:
    """Of pits with flat bottoms, on gently sloping ground, nine of ten returns stay ground."""
    enh = returns_from(slope_of(0.1), SIDE_M, per_m2=8)
    lattice = np.arange(14, SIDE_M - 13, EVERY_M) + 0.5
    away = np.min([np.hypot(enh[:, 0] - east, enh[:, 1] - north) for east in lattice for north in lattice], axis=0)
    inside = away < width_m / 2
    enh[inside, 2] -= depth_m
    assert ground_of(enh)[inside].mean() > 0.9


def test_narrow_gully_stays() -> None:
    """A gully 1 m wide and 1 m deep across the survey is ground down to its bottom."""
    enh = returns_from(slope_of(0.1), SIDE_M, per_m2=8)
    inside = abs(enh[:, 1] - 50 - 4 * np.sin(enh[:, 0] / 15)) < 0.5
    enh[inside, 2] -= 1.0
    assert ground_of(enh)[inside].mean() > 0.95


def test_only_ground_below_crowns_is_no_stray() -> None:
    """Where a crown lets one pulse through in 4 m2, those pulses are ground though each lies alone below the boughs."""
    enh = returns_from(slope_of(0.4), SIDE_M, per_m2=6)
    random = np.random.default_rng(3)
    under = np.hypot(enh[:, 0] - 50, enh[:, 1] - 50) < 12
    passes = random.random(len(enh)) < 0.04
    enh[under & ~passes, 2] += random.uniform(6, 18, int((under & ~passes).sum()))
    ground = ground_of(enh)
    assert ground[under & passes].mean() > 0.85
    assert ground[under & ~passes].mean() < 0.01


@pytest.mark.parametrize("depth_m", [1.5, 4.0])
def test_lone_low_return_of_a_sparse_survey_is_no_ground(depth_m: float) -> None:
    """Where returns lie 1.3 m apart at most one of 49 strays is taken for ground."""
    enh = returns_from(slope_of(0.2), SIDE_M, per_m2=0.6)
    stray = places_apart(enh)
    enh[stray, 2] -= depth_m
    assert ground_of(enh)[stray].sum() <= 1


def test_ditch_of_a_sparse_survey_stays() -> None:
    """Where returns lie 1.3 m apart a ditch 2 m wide and 1.2 m deep is ground: others lie in it farther along."""
    enh = returns_from(slope_of(0.05), SIDE_M, per_m2=0.6)
    inside = abs(enh[:, 1] - 50 - 4 * np.sin(enh[:, 0] / 15)) < 1
    enh[inside, 2] -= 1.2
    assert ground_of(enh)[inside].mean() > 0.9


def test_windows_do_not_see_a_lone_low_return() -> None:
    """Below hummocks under shrubs, 49 strays 4 m down leave every cell that windows cut off as it was."""
    enh = returns_from(slope_of(0.3), SIDE_M, per_m2=12)
    random = np.random.default_rng(5)
    plant = random.random(len(enh)) < 0.5
    enh[plant, 2] += random.uniform(0.2, 2.5, int(plant.sum()))
    strays = enh[places_apart(enh)] - (0.01, 0.01, 4.0)
    clean, spoilt = (lowest_returns(cloud, cell_m=1.0) for cloud in (enh, np.vstack((enh, strays))))
    mended, is_stray = without_lone_lows(np.vstack((enh, strays)), spoilt, InCells.of(np.vstack((enh, strays)), spoilt))
    np.testing.assert_array_equal(np.flatnonzero(is_stray), len(enh) + np.arange(len(strays)))
    before, with_strays, after = (cut_at(lowest, window_m=18.0) for lowest in (clean, spoilt, mended))
    assert (with_strays != before).sum() > 100
    np.testing.assert_array_equal(after, before)


def test_ground_in_gaps_of_a_canopy_is_not_taken_for_stray() -> None:
    """One pulse in 25 m2 comes through a canopy with a rough top: none of these is stray before the ground is known."""
    enh = returns_from(slope_of(0.3), SIDE_M, per_m2=12)
    random = np.random.default_rng(6)
    passes = random.random(len(enh)) < 1 / 300
    enh[~passes, 2] += random.uniform(6, 9, int((~passes).sum()))
    lowest = lowest_returns(enh, cell_m=1.0)
    _, is_stray = without_lone_lows(enh, lowest, InCells.of(enh, lowest))
    assert is_stray[passes].mean() < 0.02
