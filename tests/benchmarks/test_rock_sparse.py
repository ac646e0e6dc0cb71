"""Taking boulders out of planted places until the others are as many as nature has."""

import numpy as np
import pandas as pd
import pytest

from tests.benchmarks.rock_sparse import MOST_OF_LOW, as_often, sparser

WITHIN_M = 3.0
N = 400


def planted(n: int = N) -> pd.DataFrame:
    """Boulders 20 m apart, every second one 1 m high and the others 4 m; beside each a bush 10 m away."""
    east = 20.0 * np.arange(n)
    rocks = pd.DataFrame({"east": east, "north": 0.0, "tall": np.where(np.arange(n) % 2, 4.0, 1.0), "to_boulder": 0.3})
    rocks = rocks.assign(kind="boulder", thing=np.arange(n))
    bushes = rocks.assign(north=10.0, to_boulder=10.0, kind="bush", thing=n + np.arange(n))
    return pd.concat([rocks, bushes], ignore_index=True)


def test_twice_as_high_is_met_a_sixth_as_often() -> None:
    """2 to the power of -2.5, and low ones count three times at most."""
    often = as_often(np.array([3.0, 1.5, 0.3]))
    assert often == pytest.approx([2**-2.5, 1.0, MOST_OF_LOW])


def test_high_boulders_go_until_they_are_as_rare_as_they_are_met() -> None:
    """Of those four times as high one in 32 stays, of the low ones all; and what stands elsewhere stays."""
    left = sparser(planted(), 1.0, WITHIN_M, np.random.default_rng(1))
    rocks = left[left.kind == "boulder"]
    assert (rocks.tall == 1.0).sum() == N / 2
    assert 1 <= (rocks.tall == 4.0).sum() <= 16, "200 times 4 to the power of -2.5 is 6"
    assert (left.kind == "bush").sum() == N
    assert (rocks.to_boulder <= WITHIN_M).all()
    assert (left[left.kind == "bush"].to_boulder > WITHIN_M).all()


def test_boulders_that_are_left_count_as_many_as_they_are() -> None:
    """Low ones count for more than high ones, but all together for their number."""
    left = sparser(planted(), 2.0, WITHIN_M, np.random.default_rng(2))
    rocks = left[left.kind == "boulder"]
    assert rocks["share"].mean() == pytest.approx(1.0)
    assert rocks[rocks.tall == 1.0]["share"].mean() > rocks[rocks.tall == 4.0]["share"].mean()
    assert (left[left.kind == "bush"]["share"] == 1.0).all()


def test_a_place_without_boulders_stays_as_it_is() -> None:
    """Nothing to take out."""
    bushes = planted()[lambda table: table.kind == "bush"]
    left = sparser(bushes, 1.0, WITHIN_M, np.random.default_rng(3))
    assert left.drop(columns="share").equals(bushes)
