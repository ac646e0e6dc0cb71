"""The forests that the estimate of undergrowth is tried on are what they say they are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.undergrowth_scene import SIDE_M, Way, facing_ratio, fly


@given(st.floats(0, np.radians(50)))
def test_leaves_at_random_show_half_of_their_area_from_anywhere(zenith: float) -> None:
    """The projection of a spherical distribution is one half at every angle (de Wit 1965)."""
    assert facing_ratio("at random", np.array(zenith)) == pytest.approx(0.5, abs=0.005)


@given(st.floats(0, np.radians(25)))
def test_lying_leaves_show_most_from_above_and_standing_ones_least(zenith: float) -> None:
    """In the order of their inclinations, and never more than their area."""
    lie, aslant, random, stand = (
        float(facing_ratio(leaves, np.array(zenith))) for leaves in ("lie", "aslant", "at random", "stand")
    )
    assert 1 >= lie > aslant > random > stand > 0


def test_the_share_of_pulses_stopped_is_what_beer_and_lambert_say() -> None:
    """Of pulses through lying leaves, counted from the returns, within 0.02 of the mean over the stands."""
    way = Way(leaves="lie")
    scene = fly(way, seed=4, pulses_per_m2=3.0)
    cloud = scene.cloud
    ground = np.abs(cloud.height - (200 + 0.1 * cloud.east)) < 0.45  # the waves are 0.3 m high
    low = ~ground & (cloud.height - (200 + 0.1 * cloud.east) < 3.0)
    pulses = np.unique(cloud.gps_time[ground | low])
    stopped = np.unique(cloud.gps_time[low])
    slant = 1 / np.cos(np.radians(np.abs(cloud.scan_angle_deg).mean()))
    k = float(facing_ratio("lie", np.radians(np.abs(cloud.scan_angle_deg).mean())))
    # What stands lower than the waves is lost to the count on both sides of the comparison.
    expected = 1 - np.exp(-k * slant * scene.density * 2.2).mean()
    assert len(stopped) / len(pulses) == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize(
    "way", [Way(carpet_m=0.3, carpet_density=4.0), Way(carpet_m=0.7, carpet_density=2.0, steps_over_m=0.7)]
)
def test_what_a_runner_steps_over_is_not_in_the_truth(way: Way) -> None:
    """A carpet below the layer, or one that slows nobody, adds nothing; one that reaches into it does."""
    scene = fly(way, seed=3, pulses_per_m2=0.5)
    bare = fly(Way(steps_over_m=way.steps_over_m), seed=3, pulses_per_m2=0.5)
    np.testing.assert_allclose(scene.density, bare.density)
    reaching = fly(Way(carpet_m=0.6, carpet_density=4.0), seed=3, pulses_per_m2=0.5)
    assert reaching.density.mean() > fly(Way(), seed=3, pulses_per_m2=0.5).density.mean() + 0.2


def test_stands_are_the_same_whatever_the_way_and_clumps_keep_their_mean() -> None:
    """Gathering plants in clumps changes where they are, not how many."""
    even, clumped = (fly(Way(share_of_ground=share), seed=2, pulses_per_m2=0.5) for share in (1.0, 0.5))
    assert clumped.density.mean() == pytest.approx(even.density.mean(), rel=0.1)
    assert (clumped.density == 0).mean() == pytest.approx(0.5, abs=0.01)


def test_a_blind_receiver_gives_no_returns_close_together() -> None:
    """Within 1.2 m below a return of the same pulse there is none; without it there are."""
    nearest = []
    for blind_m in (0.0, 1.2):
        cloud = fly(Way(blind_m=blind_m), seed=1, pulses_per_m2=2.0).cloud
        same = np.diff(cloud.gps_time) == 0
        nearest.append(float((-np.diff(cloud.height))[same].min()))
    assert nearest[0] < 0.5
    assert nearest[1] > 1.2 - 0.3  # the ground falls and returns scatter by centimetres


def test_a_scene_is_as_large_and_as_dense_as_it_is_asked_to_be() -> None:
    """Pulses on the whole square, from both lines."""
    cloud = fly(Way(), seed=1, pulses_per_m2=2.0).cloud
    assert len(np.unique(cloud.gps_time)) == pytest.approx(2 * SIDE_M**2, rel=0.01)
    assert sorted(np.unique(cloud.flight_line)) == [1, 2]
    assert cloud.is_last.sum() == len(np.unique(cloud.gps_time))
