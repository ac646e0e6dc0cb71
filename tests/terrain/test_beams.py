"""Pulses are counted where they were aimed at: a shadow of crowns is not a gap, water is."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.lattice.grid import Grid, Heights
from pipeline.returns.cloud import Cloud
from pipeline.terrain.beams import aimed_pulses

GRID = Grid("EPSG:25832", 0, 60, 1.0, 60, 60)
ASIDE = 0.4
"""Metres to the east that the beams lie aside for each metre higher up: the aircraft is in the east."""
STAND = (30.0, 40.0)
"""West and east edge of a stand, metres."""
STAND_M = 20.0
"""Height of the stand."""


def flown(*, twice: float = 0.3, seed: int = 1) -> tuple[Cloud, np.ndarray, np.ndarray]:
    """Four pulses a m2 over level ground with a stand, seen from the east; some pass on through the top of it.

    Returns the cloud and the index of the first and the last return of each pulse.
    """
    rng = np.random.default_rng(seed)
    n = 4 * 60 * 60
    target = rng.uniform(0, 60, (n, 2))
    top = target[:, 0] + ASIDE * STAND_M
    meets = (top > STAND[0]) & (top < STAND[1])
    passes = meets & (rng.random(n) < twice)
    height = np.where(meets, STAND_M, 0.0)
    first = np.column_stack((target[:, 0] + ASIDE * height, target[:, 1], height))
    low = np.where(passes, 10.0, height)
    second = np.column_stack((target[:, 0] + ASIDE * low, target[:, 1], low))[passes]
    at = np.arange(n)
    last = at.copy()
    last[passes] = n + np.arange(np.count_nonzero(passes))
    return Cloud.of(np.concatenate((first, second))), at, last


def counted(cloud: Cloud, first: np.ndarray, last: np.ndarray) -> Heights:
    """Pulses in each cell where they were aimed at."""
    return aimed_pulses(cloud, first, last, cloud.height.astype(np.float32), GRID)


def test_the_shadow_of_a_stand_was_aimed_at() -> None:
    """Behind a stand of 20 m, 0.4 aside, lie 8 m without returns; as many pulses were aimed there as elsewhere."""
    cloud, first, last = flown()
    shadow = slice(23, 29)
    lying = GRID.cell_index(cloud.east[last], cloud.north[last])
    assert np.bincount(lying[lying >= 0], minlength=3600).reshape(60, 60)[:, shadow].mean() < 1.5
    assert counted(cloud, first, last)[:, shadow].mean() == pytest.approx(4.0, rel=0.1)


def test_pulses_that_are_lost_stay_lost() -> None:
    """Where water sends nothing back no pulse is counted, however tall the stand beside it."""
    cloud, first, last = flown()
    target = cloud.east[first] - ASIDE * cloud.height[first]
    kept = (target < 10) | (target > 20)
    assert counted(cloud, first[kept], last[kept])[:, 11:19].sum() == 0


def test_without_pulses_of_several_returns_each_counts_where_it_lies() -> None:
    """Nothing tells the direction of the beams, so the returns are not moved."""
    cloud, first, _ = flown(twice=0.0)
    cell = GRID.cell_index(cloud.east[first], cloud.north[first])
    plain = np.bincount(cell[cell >= 0], minlength=GRID.rows * GRID.cols).reshape(GRID.shape)
    np.testing.assert_array_equal(counted(cloud, first, first), plain)


def test_what_lies_beyond_a_block_and_its_surroundings_changes_nothing() -> None:
    """Cut to 30 m around a block the returns give the counts of the block that all of them give."""
    cloud, first, last = flown()
    block = Grid(GRID.crs, 35, 45, 1.0, 20, 20)
    west, south, east, north = block.bounds
    near = cloud.within((west - 30, south - 30, east + 30, north + 30))
    number = np.cumsum(near) - 1
    whole = near[first] & near[last]
    height = cloud.height.astype(np.float32)
    one = aimed_pulses(cloud, first, last, height, block)
    cut = aimed_pulses(cloud.take(near), number[first[whole]], number[last[whole]], height[near], block)
    np.testing.assert_array_equal(one, cut)
