"""Places found by buckets."""

import numpy as np
from scipy.spatial import cKDTree

from pipeline.returns.buckets import Buckets


def test_places_within_a_radius_are_those_of_a_tree() -> None:
    """Judge outside the project: SciPy's k-d tree; points outside the buckets and circles without places among them."""
    random = np.random.default_rng(4)
    places = random.uniform(-20, 20, (3000, 2)) + np.array([500_000, 5_700_000])
    points = random.uniform(-30, 30, (200, 2)) + np.array([500_000, 5_700_000])
    radius_m = random.uniform(0, 6, 200)
    count, numbers = Buckets.of(*places.T.copy()).within(*points.T.copy(), radius_m)
    judge = cKDTree(places).query_ball_point(points, radius_m, return_sorted=True)
    assert count.tolist() == [len(one) for one in judge]
    assert 0 in count
    assert numbers.tolist() == [number for one in judge for number in one]


def test_without_places_none_is_near() -> None:
    """No place, and no point."""
    nothing, one = np.empty(0), np.zeros(1)
    count, numbers = Buckets.of(nothing, nothing).within(one, one, one)
    assert count.tolist() == [0]
    assert not len(numbers)
    count, numbers = Buckets.of(one, one).within(nothing, nothing, nothing)
    assert not len(count)
    assert not len(numbers)


def test_the_nearest_place_is_that_of_a_tree() -> None:
    """Judge outside the project: SciPy's k-d tree; points outside the buckets and points without a place among them."""
    random = np.random.default_rng(5)
    places = random.uniform(-20, 20, (300, 2)) + np.array([500_000, 5_700_000])
    points = random.uniform(-30, 30, (500, 2)) + np.array([500_000, 5_700_000])
    distance_m, number = Buckets.of(*places.T.copy()).nearest(*points.T.copy(), most_m=5.0)
    judge_m, judge = cKDTree(places).query(points)
    assert np.array_equal(distance_m, np.where(judge_m <= 5.0, judge_m, np.inf))
    assert np.array_equal(number, np.where(judge_m <= 5.0, judge, -1))
    assert (number < 0).any()


def test_of_places_as_near_the_first_is_taken() -> None:
    """Four corners of a square, and none of nothing."""
    east, north = np.array([1.0, -1.0, 1.0, -1.0]), np.array([1.0, 1.0, -1.0, -1.0])
    assert Buckets.of(east, north).nearest(np.zeros(1), np.zeros(1), most_m=2.0)[1].tolist() == [0]
    nothing = np.empty(0)
    assert Buckets.of(nothing, nothing).nearest(np.zeros(1), np.zeros(1), most_m=2.0)[1].tolist() == [-1]
