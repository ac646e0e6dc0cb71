"""What lies near the cells of a mask."""

import numpy as np
import pytest
from scipy.spatial import cKDTree

from pipeline.lattice.reach import within_reach


@pytest.mark.parametrize("reach_m", [0.0, 1.0, 3.3])
def test_near_is_what_a_tree_finds_near(reach_m: float) -> None:
    """Judge outside the project: a k-d tree (SciPy) over the centres of the set cells."""
    cells = np.random.default_rng(5).random((40, 50)) < 0.03
    centres = np.argwhere(np.ones_like(cells)) * 0.5
    away_m = cKDTree(np.argwhere(cells) * 0.5).query(centres)[0].reshape(cells.shape)
    near = within_reach(cells, reach_m=reach_m, cell_m=0.5)
    np.testing.assert_array_equal(near, away_m <= reach_m)
    assert cells.sum() <= near.sum() < near.size


def test_nothing_lies_near_nothing() -> None:
    """No cell set, none within reach, however far that is."""
    assert not within_reach(np.zeros((3, 4), bool), reach_m=1e9, cell_m=1.0).any()
