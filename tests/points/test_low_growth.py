"""Ground among low growth and beside steps."""

from __future__ import annotations

import numpy as np

from pipeline.points.classes import embedded
from pipeline.settings import PointsSettings
from tests.terrain_clouds import Numbers, returns_from, slope_of

find_ground = embedded(PointsSettings())


def ground_of(enh: Numbers) -> np.ndarray:
    """Ground when every return may be."""
    return find_ground(enh, np.ones(len(enh), bool))


def test_carpet_of_heather_is_told_from_the_ground_below_it() -> None:
    """Two of three returns of a carpet 20 m wide are heather, evenly from 0.05 to 0.5 m: most are not taken for ground.

    The ground between them is found, and of the bare ground beside nearly all.
    """
    enh = returns_from(slope_of(0.15), 80, per_m2=8, noise_m=0.05)
    random = np.random.default_rng(4)
    carpet = np.hypot(enh[:, 0] - 40, enh[:, 1] - 40) < 10
    heather = carpet & (random.random(len(enh)) < 2 / 3)
    enh[heather, 2] += random.uniform(0.05, 0.5, int(heather.sum()))
    ground = ground_of(enh)
    inner = (abs(enh[:, :2] - 40) < 36).all(axis=1)
    assert ground[heather].mean() < 0.35
    assert ground[carpet & ~heather].mean() > 0.85
    assert ground[inner & ~carpet].mean() > 0.985


def test_terraces_keep_their_lips() -> None:
    """Terraces 4 m deep on a slope, walls of 0.8 m between: at most one in eight returns of the last metre is lost."""
    enh = returns_from(lambda e, n: 100 + 0.25 * e + 0.8 * np.floor(e / 4) + 0 * n, 80, per_m2=10, noise_m=0.03)
    lip = (enh[:, 0] % 4) < 1
    inner = (abs(enh[:, :2] - 40) < 36).all(axis=1)
    assert ground_of(enh)[lip & inner].mean() > 0.875


def test_crowns_on_a_dark_steep_slope_are_no_ground() -> None:
    """A hole of 16 m in the ground, closed by rough crowns 9 to 14 m up on a slope of 40 degrees, gets no ground."""
    enh = returns_from(slope_of(0.85), 100, per_m2=6)
    random = np.random.default_rng(6)
    dark = np.hypot(enh[:, 0] - 50, enh[:, 1] - 50) < 8
    enh[dark, 2] += random.uniform(9, 14, int(dark.sum()))
    ground = ground_of(enh)
    assert not ground[dark].any()
    assert ground[~dark].mean() > 0.97


def wall(e: Numbers, n: Numbers) -> Numbers:
    """Level ground with dry walls 0.6 m high and 1.2 m wide every 8 m."""
    return 100 + 0.6 * ((e + 0.13 * n) % 8 < 1.2)


def test_a_strip_of_growth_on_level_ground_is_no_ground() -> None:
    """Neither as smooth as the crown of a wall, 0.6 m high, nor as a hedge with returns at any height."""
    enh = returns_from(wall, 80, per_m2=12, noise_m=0.03)
    crown = enh[:, 2] > 100.45
    inner = (abs(enh[:, :2] - 40) < 36).all(axis=1)
    assert ground_of(enh)[crown & inner].mean() < 0.03
    enh[crown, 2] = 100 + np.random.default_rng(5).uniform(0.05, 1, int(crown.sum()))
    hedge = crown & (enh[:, 2] > 100.3)
    assert ground_of(enh)[hedge & inner].mean() < 0.03


def test_boughs_in_front_of_a_cliff_are_no_ground() -> None:
    """A cliff of 12 m, boughs up to 2 m in front of its lip, the foot seen between: few are ground, the lip is."""
    enh = returns_from(lambda e, n: 100 + 12.0 * (e > 40) + 0 * n, 80, per_m2=8)
    random = np.random.default_rng(7)
    bough = (enh[:, 0] > 38) & (enh[:, 0] < 40) & (random.random(len(enh)) < 0.5)
    enh[bough, 2] += random.uniform(5, 11, int(bough.sum()))
    lip = (enh[:, 0] > 40) & (enh[:, 0] < 41)
    ground = ground_of(enh)
    assert ground[bough].mean() < 0.25
    assert ground[lip].mean() > 0.95
