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
