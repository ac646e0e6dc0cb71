"""What lies near the cells of a mask."""

import numpy as np
import pytest
from scipy import ndimage
from scipy.spatial import cKDTree

from pipeline.lattice.reach import wide_enough, within_reach


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


def test_a_strip_is_wide_enough_if_the_disc_fits() -> None:
    """Strips of 9 and 12 m: a disc of 10 m fits into the second only, and leaves all of it but the corners."""
    cells = np.zeros((100, 200), bool)
    cells[10:28, 20:180] = True
    cells[50:74, 20:180] = True
    kept = wide_enough(cells, width_m=10.0, cell_m=0.5)
    assert not kept[:40].any()
    assert 0.97 < kept[40:].sum() / cells[40:].sum() < 1


def test_what_is_wide_enough_depends_on_the_cells_near_by_alone() -> None:
    """A part of the grid, read with a margin as wide as the disc, says what all of it says."""
    cells = np.random.default_rng(2).random((30, 40)) < 0.8
    cells = np.kron(cells, np.ones((6, 6), bool))
    whole, part = (wide_enough(mask, width_m=6.0, cell_m=1.0) for mask in (cells, cells[50:120, 40:160]))
    np.testing.assert_array_equal(whole[57:113, 47:153], part[7:-7, 7:-7])
    assert 0.1 < whole.mean() < cells.mean()


def test_distances_are_those_of_scipy_to_the_last_bit() -> None:
    """Judge outside the project: SciPy's distance transform, also where a reach is just the distance of two cells."""
    random = np.random.default_rng(8)
    for side_m in (0.25, 0.3, 0.5, 0.7, 1.0):
        for reach_m in (0.0, side_m, side_m * np.sqrt(2), side_m * np.sqrt(13), 7.5, 60.0, 1000.0):
            cells = random.random((30, 41)) < random.choice([0.002, 0.1, 0.9])
            cells[0, 0] = True
            away = ndimage.distance_transform_edt(~cells)
            near = within_reach(cells, reach_m=reach_m, cell_m=side_m)
            np.testing.assert_array_equal(near, away * side_m <= reach_m)
            deep = ndimage.distance_transform_edt(np.pad(cells, 1))[1:-1, 1:-1]
            covered = within_reach((deep - 0.5) * side_m >= reach_m, reach_m=reach_m + side_m / 2, cell_m=side_m)
            wide = wide_enough(cells, width_m=2 * reach_m, cell_m=side_m)
            np.testing.assert_array_equal(wide, covered & cells)
