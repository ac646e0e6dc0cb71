"""The order of returns in a block."""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.returns.cloud import Cloud, in_order, northward


def crowded(seed: int) -> Cloud:
    """Returns on few places and heights, so that every column is needed to tell them apart, and some are the same."""
    random = np.random.default_rng(seed)
    enh = np.column_stack([random.integers(0, 4, 300) / 8 + 500_000, random.integers(-4, 4, 300) / 8 + 5_700_000])
    enh = np.column_stack([enh, random.integers(0, 3, 300)])
    return Cloud.of(enh, gps_time=random.integers(0, 3, 300) / 2, return_number=random.integers(1, 4, 300).astype("u1"))


@settings(deadline=None)  # the first call compiles
@given(st.integers(0, 2**32 - 1))
def test_northward_is_the_order_of_all_five_columns(seed: int) -> None:
    """Judge outside the project: numpy.lexsort."""
    cloud = crowded(seed)
    judge = np.lexsort((cloud.return_number, cloud.gps_time, cloud.height, cloud.east, cloud.north))
    assert np.array_equal(northward(cloud), judge)


def test_order_does_not_depend_on_the_order_given() -> None:
    """Nor on what else is in the block: places a hair apart are ordered alike with and without far neighbours."""
    random = np.random.default_rng(3)
    enh = np.column_stack([random.uniform(0, 1e-6, (200, 2)) + 0.3, random.uniform(0, 1, 200)])
    near, far = Cloud.of(enh), Cloud.of(np.vstack([[[-5e5, -5e5, 0.0]], enh[::-1]]))
    assert np.array_equal(near.take(northward(near)).enh, far.take(northward(far)).enh[1:])


def test_nothing_has_no_order() -> None:
    """An empty cloud gives an empty order."""
    assert len(northward(Cloud.empty())) == 0


def test_many_returns_of_one_place_are_ordered_too() -> None:
    """More than are sorted one by one, beside places with few; judge outside the project: numpy.lexsort."""
    few = crowded(1)
    stack = Cloud.of(np.column_stack([np.full((200, 2), 500_000.0), np.random.default_rng(1).integers(0, 9, 200)]))
    cloud = Cloud.join([few.take(np.arange(20)), stack])
    judge = np.lexsort((cloud.return_number, cloud.gps_time, cloud.height, cloud.east, cloud.north))
    assert np.array_equal(northward(cloud), judge)


def test_a_cloud_in_order_holds_its_places_once() -> None:
    """Positions are those of the columns without a copy, and with one where a column was exchanged."""
    cloud = crowded(5)
    order = northward(cloud)
    ordered, judge = in_order(vars(cloud).copy(), order), cloud.take(order)
    assert all(np.array_equal(getattr(ordered, name), getattr(judge, name)) for name in vars(judge))
    assert np.shares_memory(ordered.enh, ordered.height)
    assert np.array_equal(ordered.enh, np.column_stack((judge.east, judge.north, judge.height)))
    raised = replace(ordered, height=ordered.height + 1)
    assert np.array_equal(raised.enh[:, 2], judge.height + 1)
    swapped = replace(ordered, east=ordered.north, north=ordered.east)
    assert np.array_equal(swapped.enh[:, :2], np.column_stack((judge.north, judge.east)))
