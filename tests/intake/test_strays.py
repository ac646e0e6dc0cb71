"""Points that lie far from all others do not make a tile larger."""

from __future__ import annotations

import numpy as np

from pipeline.intake.strays import bounds_without_strays


def test_strays_are_left_out_and_bodies_kept() -> None:
    """One point in ten thousand, far away in either direction, goes; a tenth of the points stays."""
    rng = np.random.default_rng(5)
    east, north = rng.uniform(0, 100, (2, 10_000))
    east[0], north[1] = 1e6, -1e6
    bounds = bounds_without_strays(east, north, gap=1000)
    assert 0 <= bounds[0] < bounds[2] <= 100
    assert 0 <= bounds[1] < bounds[3] <= 100
    east[:1000] += 50_000
    assert bounds_without_strays(east, north, gap=1000)[2] > 50_000


def test_places_near_each_other_are_never_strays() -> None:
    """A gap narrower than asked for is a clearing, not the end of the survey."""
    east = np.concatenate((np.arange(1000.0), [1900.0]))
    assert bounds_without_strays(east, east, gap=1000)[2] == 1900.0


def test_places_strewn_thinly_have_no_strays() -> None:
    """Where every place is alone, none is odd."""
    east = np.arange(500.0) * 5000
    assert bounds_without_strays(east, east, gap=1000) == (0, 0, 499 * 5000, 499 * 5000)
