"""Contours that nearly touch across a saddle are parted, and only those."""

import numpy as np

from pipeline.landform.contours.necks import find_necks, widen_necks
from tests import landscape

APART_M = 4.35


def test_a_saddle_just_above_a_contour_is_opened() -> None:
    """Where two contours of one level nearly touch, the ground is moved by little until they part."""
    grid = landscape.grid_of()
    ground = landscape.saddle(grid, height_m=100.005)
    levels = np.array([95.0, 100.0, 105.0])
    assert len(find_necks(ground, grid, levels, apart_m=APART_M)[0]) > 0
    opened = widen_necks(ground, ground, grid, levels, apart_m=APART_M, max_off_m=0.75)
    assert len(find_necks(opened, grid, levels, apart_m=APART_M)[0]) == 0
    assert 0 < np.abs(opened - ground).max() <= 0.75


def test_ground_without_necks_is_left_alone() -> None:
    """A saddle half way between two contours, a cone and a plane stay as they are."""
    grid = landscape.grid_of()
    grounds = (landscape.saddle(grid, height_m=102.5), landscape.cone(grid), landscape.plane(grid, rise_deg=25))
    for ground in grounds:
        levels = np.arange(50.0, 200, 5)
        same = widen_necks(ground, ground, grid, levels, apart_m=APART_M, max_off_m=0.75)
        np.testing.assert_array_equal(same, ground)
