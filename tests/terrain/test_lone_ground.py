"""Lone ground returns: counted by class and height, and the same wherever an area is cut."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.lattice.grid import Grid
from pipeline.returns.cloud import Cloud
from pipeline.terrain.counts import lone_ground


def returns(rows: list[tuple[float, float, int, int, int, float, int]]) -> tuple[Cloud, np.ndarray, np.ndarray]:
    """A cloud of (east, north, return number, returns, class, height above, intensity)."""
    table = np.array(rows, float)
    cloud = Cloud.of(
        np.column_stack((table[:, :2], table[:, 5])),
        return_number=table[:, 2].astype(np.uint8),
        n_returns=table[:, 3].astype(np.uint8),
        intensity=table[:, 6].astype(np.uint16),
    )
    return cloud, table[:, 4].astype(np.uint8), table[:, 5].astype(np.float32)


def test_only_whole_pulses_that_end_on_the_ground_are_counted() -> None:
    """Split pulses, grass, roofs, water and noise are left out; low returns beside a thinned ground are not."""
    cell = Grid.covering((0, 0, 1, 1), cell_m=1.0, crs="EPSG:25833")
    counted = [(0.5, 0.5, 1, 1, 2, 0.0, 100), (0.2, 0.5, 1, 1, 1, 0.05, 20), (0.9, 0.1, 0, 0, 3, 0.1, 3)]
    left_out = [
        (0.5, 0.5, 2, 2, 2, 0.0, 1000),
        (0.5, 0.5, 1, 2, 3, 0.1, 1000),
        (0.5, 0.5, 1, 1, 3, 0.3, 1000),
        (0.5, 0.5, 1, 1, 6, 0.05, 1000),
        (0.5, 0.5, 1, 1, 9, 0.0, 1000),
        (0.5, 0.5, 1, 1, 7, np.nan, 1000),
        (1.0, 0.5, 1, 1, 2, 0.0, 1000),
    ]
    made = lone_ground(*returns(counted + left_out), cell)
    assert made["lone_ground_returns"].tolist() == [[3.0]]
    assert made["lone_ground_intensity_sum"].tolist() == [[123.0]]


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 1000), cut=st.integers(1, 9))
def test_blocks_side_by_side_hold_the_sums_of_the_whole(seed: int, cut: int) -> None:
    """Wherever the area is cut, and in whatever order returns come, every cell holds the same number."""
    rng = np.random.default_rng(seed)
    n = 400
    cloud = Cloud.of(
        np.column_stack((rng.integers(0, 41, n) / 4, rng.uniform(0, 10, n), np.zeros(n))),
        intensity=rng.integers(0, 65536, n).astype(np.uint16),
    )
    code, above = rng.choice([1, 2, 3, 6], n).astype(np.uint8), rng.uniform(-0.1, 0.4, n).astype(np.float32)
    whole = lone_ground(cloud, code, above, block(0, 10))
    order = rng.permutation(n)
    shuffled = cloud.take(order), code[order], above[order]
    halves = [lone_ground(*shuffled, block(*side)) for side in ((0, cut), (cut, 10))]
    for name, values in whole.items():
        assert np.array_equal(np.concatenate([half[name] for half in halves], axis=1), values)


def block(west: float, east: float) -> Grid:
    """A block of 10 m from south to north."""
    return Grid.covering((west, 0, east, 10), cell_m=1.0, crs="EPSG:25833")
