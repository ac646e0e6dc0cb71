"""The lowest last returns: only what may be ground counts."""

from __future__ import annotations

import numpy as np

from pipeline.lattice.grid import Grid
from pipeline.returns.cloud import Cloud
from pipeline.terrain.surface import lowest_last


def test_lowest_last_is_what_may_be_ground() -> None:
    """First returns, noise, buildings, unusable returns and other cells do not count."""
    grid = Grid.covering((0, 0, 2, 1), cell_m=1.0, crs="EPSG:25833")
    heights = np.array([5.0, 4.0, 1.0, 2.0, 3.0, 0.0, 0.5])
    east = np.array([0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 3.5])
    cloud = Cloud.of(
        np.column_stack((east, np.full(7, 0.5), heights)),
        return_number=np.array([1, 1, 1, 1, 1, 1, 1], np.uint8),
        n_returns=np.array([1, 1, 2, 1, 1, 1, 1], np.uint8),
        is_usable=np.array([1, 1, 1, 1, 1, 0, 1], bool),
    )
    lowest = lowest_last(cloud, np.array([1, 5, 1, 7, 6, 2, 2], np.uint8), grid)
    assert lowest[0, 0] == 4.0
    assert np.isnan(lowest[0, 1])
