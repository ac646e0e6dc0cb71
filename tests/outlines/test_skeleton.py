"""Lines along the middle of strips of cells."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy import ndimage
from skimage.morphology import skeletonize

from pipeline.lattice.grid import Grid
from pipeline.outlines.skeleton import ridge_lines, rounded, skeleton_lines

GRID = Grid("EPSG:25832", 1000, 2000, 2.0, 90, 120)


def blots(seed: int) -> np.ndarray:
    """Winding strips that fork and meet, from smoothed noise."""
    noise = ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=GRID.shape), 3)
    return np.abs(noise) < 0.03


@pytest.mark.parametrize("cut_at_corners", [True, False])
def test_lines_join_what_touches_in_the_skeleton(cut_at_corners: bool) -> None:
    """Judge outside the project: scikit-image's skeleton and SciPy's labels of connected cells.

    The lines pass through every cell that has a neighbour and no other, and hang together as the cells do.
    """
    mask = blots(3)
    skeleton = skeletonize(mask)
    labels, count = ndimage.label(skeleton, np.ones((3, 3)))
    alone = np.bincount(labels.ravel())[labels] == 1
    lines = skeleton_lines(mask, GRID, cut_at_corners=cut_at_corners)
    places = shapely.get_coordinates(lines)
    row, col = GRID.row_col(places[:, 0], places[:, 1])
    met = np.zeros(GRID.shape, bool)
    met[row, col] = True
    np.testing.assert_array_equal(met, skeleton & ~alone)
    tree = shapely.union_all(lines).buffer(0.01)
    assert shapely.get_num_geometries(tree) == count - len(np.unique(labels[alone & skeleton]))


def test_a_cross_has_four_arms() -> None:
    """Two strips that cross: four lines that end at the crossing, as long as the arms."""
    mask = np.zeros(GRID.shape, bool)
    mask[44:47, 10:111] = True
    mask[10:80, 59:62] = True
    lines = skeleton_lines(mask, GRID, cut_at_corners=False)
    assert sorted(round(line.length, -1) for line in lines) == pytest.approx([70, 70, 100, 100], abs=10)


def test_a_right_angle_is_cut_only_where_asked_for() -> None:
    """One line around a corner, or lines that end at it."""
    mask = np.zeros(GRID.shape, bool)
    mask[20, 10:50] = mask[20:60, 50] = True
    assert len(skeleton_lines(mask, GRID, cut_at_corners=False)) == 1
    skeleton = skeletonize(mask)
    is_corner = skeleton[20, 50] and skeleton[20, 49] and skeleton[21, 50]
    assert (len(skeleton_lines(mask, GRID, cut_at_corners=True)) > 1) == is_corner


def test_without_neighbours_there_are_no_lines() -> None:
    """A single cell and an empty mask."""
    mask = np.zeros(GRID.shape, bool)
    assert skeleton_lines(mask, GRID, cut_at_corners=True) == []
    mask[5, 5] = True
    assert skeleton_lines(mask, GRID, cut_at_corners=False) == []


def test_rounding_calms_a_zigzag_and_keeps_its_ends() -> None:
    """Steps of a cell to either side all but vanish within the line."""
    zigzag = np.column_stack((np.arange(30.0), np.arange(30) % 2))
    smooth = rounded(zigzag)
    np.testing.assert_array_equal(smooth[[0, -1]], zigzag[[0, -1]])
    assert np.ptp(smooth[6:-6, 1]) < 0.05
    np.testing.assert_allclose(smooth[6:-6, 0], zigzag[6:-6, 0])


def test_a_ridge_is_one_line_without_its_side_branch() -> None:
    """A strip 100 cells long with a branch of 15: one line, as long as the strip within its width."""
    mask = np.zeros(GRID.shape, bool)
    mask[44:47, 10:111] = True
    mask[47:62, 59:62] = True
    (line,) = ridge_lines(mask, GRID)
    assert line.length == pytest.approx(2 * 100, abs=2 * 4)
    assert np.ptp(shapely.get_coordinates(line)[:, 1]) < 2 * 2
