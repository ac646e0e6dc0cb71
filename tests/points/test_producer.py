"""Of the producer's ground and ours, each is believed where it is right and refused where it is not."""

import numpy as np
from numpy.typing import NDArray

from pipeline.points.producer import DISPUTED_M, judged_ground, keep_producer

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


def hillside(n: int = 12_000, side_m: float = 80.0) -> Floats:
    """Returns of a slope with noise, 2 to the square metre."""
    random = np.random.default_rng(11)
    east, north = random.uniform(0, side_m, (2, n))
    return np.column_stack((east, north, 100 + 0.4 * east + 2 * np.sin(north / 9) + random.normal(0, 0.03, n)))


def judged(enh: Floats, is_producer: Mask, is_own: Mask, producer_class: NDArray[np.uint8] | None = None) -> Mask:
    """The ground alone."""
    given = np.where(is_producer, 2, 1).astype(np.uint8) if producer_class is None else producer_class
    return judged_ground(enh, given, is_producer, is_own)[0]


def disc(enh: Floats, radius_m: float) -> Mask:
    """Returns within a radius of the middle."""
    near: Mask = np.hypot(enh[:, 0] - 40, enh[:, 1] - 40) < radius_m
    return near


def test_a_cliff_that_our_filter_cut_off_stays() -> None:
    """All that stands above the sea is missing from our ground: the producer's stays whole, up to the lip."""
    enh = hillside()
    enh[:, 2] = np.where(enh[:, 0] > 40, 40.0, 0.0) + 0.05 * enh[:, 1]
    every = np.ones(len(enh), bool)
    assert judged(enh, every, enh[:, 0] < 40).all()


def test_a_crown_that_our_filter_took_is_refused() -> None:
    """Our ground holds a crown 8 m up where the producer's has returns below: it is left out."""
    enh = hillside()
    is_crown = disc(enh, 8.0) & (np.arange(len(enh)) % 3 > 0)
    enh[is_crown, 2] += 8.0
    kept = judged(enh, ~is_crown, np.ones(len(enh), bool))
    assert not kept[is_crown].any()
    assert kept[~is_crown].all()


def test_plants_in_the_producers_ground_are_refused() -> None:
    """With our ground below them on every side they go, in one place, and all over; the ground itself stays."""
    enh = hillside()
    lift = np.where(np.arange(len(enh)) % 4 == 0, 0.9, 0.0)
    for where in (disc(enh, 12.0), np.ones(len(enh), bool)):
        raised = enh.copy()
        raised[:, 2] += lift * where
        is_plant = (lift > 0) & where
        given = is_plant | ~where
        kept = judged(raised, given, ~is_plant)
        inner = disc(enh, 36.0)
        assert kept[is_plant & inner].mean() < 0.03
        assert kept[~is_plant & inner].mean() > 0.9


def test_a_thinned_ground_is_filled_and_low_plants_stay_out() -> None:
    """One of ten ground returns is given: ours on the same surface join, plants 0.3 m high do not."""
    enh = hillside()
    is_plant = np.arange(len(enh)) % 5 == 2
    enh[is_plant, 2] += 0.3
    given = np.arange(len(enh)) % 10 == 1
    every = np.ones(len(enh), bool)
    for kept in (judged(enh, given, every), keep_producer(enh, given, every)):
        assert kept[~is_plant].mean() > 0.8
        assert kept[is_plant].mean() < 0.01


def test_a_hole_is_filled_with_what_is_joined_to_the_ground() -> None:
    """A knoll in a hole of the producer's ground comes from ours; a roof or its maker's crops do not."""
    enh = hillside()
    enh[:, 2] -= 2 * np.sin(enh[:, 1] / 9)
    hole = disc(enh, 14.0)
    away_m = np.hypot(enh[:, 0] - 40, enh[:, 1] - 40)
    every = np.ones(len(enh), bool)
    inner = disc(enh, 9.0)
    knoll = enh + np.column_stack((0 * away_m, 0 * away_m, np.maximum(0, 4 - away_m / 4)))
    assert judged(knoll, ~hole, every)[inner].all()
    crops = np.where(hole, 4, 2).astype(np.uint8)
    assert not judged(knoll, ~hole, every, crops)[inner].any()
    roof = enh + np.column_stack((0 * away_m, 0 * away_m, np.where(inner, 7.0, 0.0)))
    assert not judged(roof, ~hole, every)[inner & (away_m < 9)].any()


def test_a_hollow_that_the_producer_missed_is_ours() -> None:
    """Returns in company below the producer's surface are ground where it has none near; a single one is not."""
    enh = hillside()
    pit = disc(enh, 4.0)
    enh[pit, 2] -= 1.5
    assert judged(enh, ~disc(enh, 5.5), np.ones(len(enh), bool))[disc(enh, 3.0)].all()
    alone = hillside()
    only = int(np.flatnonzero(disc(alone, 1.0))[0])
    alone[only, 2] -= 1.5
    given = ~disc(alone, 3.5)
    assert not judged(alone, given, given | (np.arange(len(alone)) == only))[only]


def test_where_the_producer_has_no_ground_ours_stands_alone() -> None:
    """Half of the area comes unclassified: ours there, the producer's in the other half; with neither, the other."""
    enh = hillside()
    every, none = np.ones(len(enh), bool), np.zeros(len(enh), bool)
    west = enh[:, 0] < 40
    enh[~west & (enh[:, 0] > 41), 2] += 20.0
    kept = judged(enh, west, every)
    assert kept[west].all()
    assert kept[enh[:, 0] > 40 + 30.5].all()
    assert judged(enh, none, every).all()
    assert judged(enh, every, none).all()


def test_nothing_depends_on_how_far_a_block_sees() -> None:
    """The middle is judged the same from the whole and from a part that reaches 30 m around it."""
    enh = hillside(20_000, 100.0)
    random = np.random.default_rng(3)
    patches = np.floor(enh[:, :2] / 11).astype(int).sum(axis=1) % 3
    enh[:, 2] += np.where(random.random(len(enh)) < 0.3, random.gamma(1.0, 1.5, len(enh)), 0.0)
    given, own = (patches != 0) & (random.random(len(enh)) < 0.3), (patches != 1) & (random.random(len(enh)) < 0.7)
    part = (np.abs(enh[:, :2] - 50) < 42).all(axis=1)
    core = (np.abs(enh[:, :2] - 50) < 12).all(axis=1)
    whole = judged(enh, given, own)
    assert 0.2 < whole[core].mean() < 0.8
    assert np.array_equal(whole[part][core[part]], judged(enh[part], given[part], own[part])[core[part]])


def test_what_is_disputed_is_told() -> None:
    """The crown of our ground and the cliff of the producer's: the returns, how far apart, and who was believed."""
    enh = hillside()
    enh[disc(enh, 6.0), 2] += 8.0
    is_spur = np.hypot(enh[:, 0] - 15, enh[:, 1] - 15) < 6
    enh[is_spur, 2] += 5.0
    _, dispute = judged_ground(enh, np.full(len(enh), 1, np.uint8), ~disc(enh, 6.0), ~is_spur)
    told = np.zeros(len(enh), bool)
    told[dispute.index] = True
    assert told[is_spur].mean() > 0.95
    assert not told[~is_spur & ~disc(enh, 6.0)].any()
    assert dispute.is_producers[np.isin(dispute.index, np.flatnonzero(is_spur))].all()
    assert (np.abs(dispute.apart_m) > DISPUTED_M).all()
