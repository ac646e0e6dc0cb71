"""Returns that are in the survey twice."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from pipeline.points.duplicates import find_duplicates
from pipeline.returns.cloud import Cloud


def strewn(n: int, seed: int = 1) -> Cloud:
    """Returns of distinct pulses, of several classes and intensities."""
    rng = np.random.default_rng(seed)
    return Cloud.of(
        rng.uniform(0, 100, (n, 3)),
        gps_time=np.arange(n) * 1e-4 + 1,
        intensity=rng.integers(0, 1000, n).astype(np.uint16),
        producer_class=rng.integers(0, 7, n).astype(np.uint8),
    )


def test_distinct_returns_are_no_duplicates() -> None:
    """Across the slices the search works in, too."""
    assert not find_duplicates(strewn(200_000)).any()
    assert not find_duplicates(Cloud.empty()).any()


@given(st.lists(st.integers(0, 49), max_size=60), st.integers(0, 1000))
def test_each_return_counts_once_whatever_the_order(again: list[int], order_seed: int) -> None:
    """Copies are found wherever they stand, and one of each group is kept."""
    cloud = strewn(50)
    which = np.concatenate((np.arange(50), np.array(again, np.int64)))
    shuffled = np.random.default_rng(order_seed).permutation(which)
    duplicate = find_duplicates(cloud.take(shuffled))
    assert duplicate.sum() == len(again)
    assert sorted(shuffled[~duplicate].tolist()) == list(range(50))


def test_copies_from_tiles_with_other_offsets_are_found() -> None:
    """The same return read from two tiles differs in the last bits of its coordinates."""
    cloud = strewn(1000)
    nudged = Cloud(**{**vars(cloud), "east": cloud.east + 1e-9, "north": cloud.north - 1e-9})
    assert find_duplicates(Cloud.join([cloud, nudged])).sum() == 1000


def test_the_copy_that_is_kept_does_not_depend_on_order() -> None:
    """Of two copies that differ in class, the lower class is kept."""
    one = strewn(1)
    other = Cloud(**{**vars(one), "producer_class": one.producer_class + 1})
    assert find_duplicates(Cloud.join([one, other])).tolist() == [False, True]
    assert find_duplicates(Cloud.join([other, one])).tolist() == [True, False]


def test_near_returns_are_no_duplicates() -> None:
    """A centimetre, another return number or another flight line makes another return."""
    one = strewn(1)
    for change in (
        {"height": one.height + 0.01},
        {"return_number": one.return_number + 1},
        {"flight_line": one.flight_line + 1},
        {"gps_time": one.gps_time + 1e-6},
    ):
        assert not find_duplicates(Cloud.join([one, Cloud(**{**vars(one), **change})])).any()
