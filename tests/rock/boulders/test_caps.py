"""Caps: the smooth surface on a lump, and what lies on it, over it and under it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.rock.boulders.caps import Caps, look_at_caps, returns_near
from pipeline.rock.boulders.low_returns import LowReturns
from pipeline.rock.boulders.lumps import Lumps

RADIUS_M = 1.5


def disc(n: int = 120, *, seed: int = 4) -> NDArray[np.float64]:
    """(n, 2) places spread evenly over a disc around nought."""
    rng = np.random.default_rng(seed)
    turn, radius = rng.uniform(0, 2 * np.pi, n), 0.98 * RADIUS_M * np.sqrt(rng.uniform(0, 1, n))
    return np.column_stack((radius * np.cos(turn), radius * np.sin(turn)))


def caps_of(places: NDArray[np.float64], above_m: NDArray[np.float64], is_last: NDArray[np.bool_]) -> Caps:
    """The cap of one round lump of `RADIUS_M` around nought, over level ground."""
    low = LowReturns(
        places[:, 0],
        places[:, 1],
        above_m,
        above_m,
        above_m,
        is_last,
        np.zeros(len(places), np.uint16),
        np.full(len(places), np.nan, np.float32),
    )
    lump = Lumps(np.zeros(1), np.zeros(1), RADIUS_M**2 * np.eye(2)[None], np.ones(1))
    near = returns_near(low, lump, 0.0)
    return look_at_caps(near, above_m[near.index], lump)


def test_a_paraboloid_falls_by_its_own_height() -> None:
    """The cap of a hump that meets the ground at its outline falls by all of its height, one upside down rises so."""
    places = disc(400)
    hump = 2.0 * (1 - (places**2).sum(axis=1) / RADIUS_M**2)
    every = np.ones(len(places), bool)
    # Returns below 0.3 m count as ground; the upper part shows the same curve.
    assert caps_of(places, hump, every).dome[0] == pytest.approx(1.0, abs=0.05)
    assert caps_of(places, 3.0 - hump, every).dome[0] == pytest.approx(-2.0 / 3.0, abs=0.1)


def test_a_tilted_plane_is_tilted_and_neither_humped_nor_rough() -> None:
    """A slab that rises by a quarter of its height from its middle to its edge has that tilt."""
    places = disc()
    caps = caps_of(places, 1.5 + 0.333 * places[:, 0], np.ones(len(places), bool))
    assert caps.tilt[0] == pytest.approx(0.333 * RADIUS_M / caps.height_m[0], rel=0.05)
    assert abs(caps.dome[0]) < 0.03
    assert caps.rms_m[0] < 0.02


def test_boughs_that_jump_have_grain_and_rock_has_not() -> None:
    """Two layers met at random jump from return to return; a hump of the same spread in height does not."""
    places = disc()
    every = np.ones(len(places), bool)
    layers = 1.2 + 0.3 * (np.random.default_rng(1).random(len(places)) < 0.5)
    hump = 1.5 - 0.3 * (places**2).sum(axis=1) / RADIUS_M**2
    rough, smooth = caps_of(places, layers, every), caps_of(places, hump, every)
    assert rough.n_on[0] == smooth.n_on[0] == len(places)
    assert rough.grain_m[0] > 2.5 * smooth.grain_m[0]


@pytest.mark.parametrize("share", [0.25, 0.5])
def test_grain_hardly_depends_on_how_dense_the_returns_lie(share: float) -> None:
    """A quarter of the returns of two layers jumps about as much from one to the next as all of them."""
    places = disc(400)
    layers = 1.2 + 0.3 * (np.random.default_rng(1).random(len(places)) < 0.5)
    few = np.random.default_rng(2).random(len(places)) < share
    all_of_them = caps_of(places, layers, np.ones(len(places), bool)).grain_m[0]
    assert caps_of(places[few], layers[few], np.ones(few.sum(), bool)).grain_m[0] == pytest.approx(all_of_them, rel=0.3)


def test_what_lies_over_and_under_a_cap_is_counted_apart() -> None:
    """Returns that went through, boughs close over, boughs far over and split pulses each have their own count."""
    places = disc(200)
    above = np.full(200, 1.0)
    is_last = np.ones(200, bool)
    inner = np.flatnonzero(np.hypot(*places.T) < 0.5 * RADIUS_M)
    above[inner[:4]] = 0.0
    above[inner[4:9]] = 2.0
    above[inner[9:12]] = 4.0
    above[inner[12:14]], is_last[inner[12:14]] = 2.2, False
    caps = caps_of(places, above, is_last)
    assert caps.n_through[0] == 4
    assert caps.n_off[0] == 5
    assert caps.high[0] == pytest.approx(3 / (200 - 14))
    assert caps.n_over[0] == 2
    assert caps.n_on[0] == 200 - 14
