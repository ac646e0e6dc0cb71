"""Classes of returns and their heights above the ground."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.points.classes import classify_returns, embedded, own_ground
from pipeline.returns.cloud import Cloud
from pipeline.settings import PointsSettings
from tests.terrain_clouds import returns_from, slope_of

SETTINGS = PointsSettings(ground_from="own")


def with_plants(size_m: float = 60.0) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Returns of a slope, every eighth lifted by 0.3, 1.2 or 8 m, and the lifts."""
    enh = returns_from(slope_of(0.2), size_m, per_m2=8, noise_m=0.0)
    lift = np.zeros(len(enh))
    lift[::8] = np.resize([0.3, 1.2, 8.0], len(lift[::8]))
    enh[:, 2] += lift
    return enh, lift


def test_plants_are_classed_by_height() -> None:
    """Ground is 2; plants of 0.3, 1.2 and 8 m are 3, 4 and 5; heights are right to 5 cm."""
    enh, lift = with_plants()
    got = classify_returns(Cloud.of(enh), settings=SETTINGS)
    inner = (abs(enh[:, :2] - 30) < 27).all(axis=1)
    for height, asprs_class in ((0.0, 2), (0.3, 3), (1.2, 4), (8.0, 5)):
        assert (got.asprs_class[inner & (lift == height)] == asprs_class).mean() > 0.98
    assert np.abs(got.height_above_m - lift)[inner].max() < 0.05


def test_noise_and_water_are_kept_apart() -> None:
    """The producer's water stays 9, noise is 7 or 18 and has no height; every return gets a class."""
    enh = returns_from(slope_of(0.0), 60)
    enh[5, 2] += 500.0
    enh[6, 2] -= 40.0
    given = np.zeros(len(enh), np.uint8)
    given[enh[:, 0] < 10] = 9
    given[[5, 6]] = 0
    got = classify_returns(Cloud.of(enh, producer_class=given), settings=SETTINGS)
    assert got.asprs_class[[5, 6]].tolist() == [18, 7]
    assert np.isnan(got.height_above_m[[5, 6]]).all()
    assert (got.asprs_class[given == 9] == 9).all()
    assert (got.asprs_class > 0).all()


def test_unusable_returns_decide_nothing_but_are_classed() -> None:
    """Withheld returns below the ground neither are ground nor pull it down."""
    enh = returns_from(slope_of(0.0), 60)
    bad = np.zeros(len(enh), bool)
    bad[::10] = True
    enh[bad, 2] -= 0.4
    got = classify_returns(Cloud.of(enh, is_usable=~bad), settings=SETTINGS)
    assert not (got.asprs_class[bad] == 2).any()
    assert (got.asprs_class[~bad] == 2).mean() > 0.99


def test_no_returns_no_classes() -> None:
    """An empty block gives empty columns."""
    assert classify_returns(Cloud.empty(), settings=SETTINGS).asprs_class.shape == (0,)


def test_our_own_ground_is_that_of_the_classes() -> None:
    """Whose ground is used is decided from the very ground that would be used."""
    enh = np.vstack([returns_from(slope_of(0.2), 40), [[20.0, 20.0, 300.0], [10.0, 10.0, 20.0]]])
    cloud = Cloud.of(enh, producer_class=np.where(np.arange(len(enh)) % 50 == 0, 9, 0).astype(np.uint8))
    ground = own_ground(cloud, find_ground=embedded(PointsSettings()))
    assert ground.mean() > 0.9
    assert np.array_equal(ground, classify_returns(cloud, settings=PointsSettings()).asprs_class == 2)


def test_the_rim_of_the_survey_is_the_same_in_every_block() -> None:
    """A ragged rim, which blocks of two lengths frame by rectangles of two widths: classes and heights are the same."""
    random = np.random.default_rng(5)
    east, north = random.uniform(-12, 40, 60_000), random.uniform(0, 300, 60_000)
    # The survey ends further out where only the longer block sees it.
    kept = east > np.where(north > 240, -10.0, 2 * np.sin(north / 7))
    east, north = east[kept], north[kept]
    height = 100 + 0.5 * east + 3 * np.sin(east / 9) + 4 * np.cos(north / 11) + random.normal(0, 0.03, len(east))
    height += np.where(random.random(len(east)) < 0.4, random.gamma(1.0, 1.5, len(east)), 0.0)
    cloud = Cloud.of(np.column_stack((east, north, height)))
    near = np.flatnonzero(north < 180)
    whole = classify_returns(cloud, settings=PointsSettings())
    block = classify_returns(cloud.take(near), settings=PointsSettings())
    core = north[near] < 100
    assert np.array_equal(whole.asprs_class[near][core], block.asprs_class[core])
    assert np.array_equal(whole.height_above_m[near][core], block.height_above_m[core], equal_nan=True)
    assert set(np.unique(block.asprs_class[core])) > {2, 3}
