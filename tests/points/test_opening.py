"""Openings of a grid."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.points.ground.opening import _sweep, height_lost, opening


def window(radius: int) -> NDArray[np.bool_]:
    """The octagon of that radius, as what an opening leaves of a single low cell turned upside down."""
    grid = np.zeros((2 * radius + 9, 2 * radius + 9))
    grid[radius + 4, radius + 4] = -1.0
    # The lowest cell in reach of each cell: what SciPy calls erosion, read off the opening's first half.
    return _sweep(grid, radius, pick=np.minimum, outside=np.inf)[4:-4, 4:-4] < 0


def test_opening_is_that_of_scipy_with_the_same_window() -> None:
    """Judge outside the project: scipy.ndimage.grey_opening with the octagon as footprint, away from the edge."""
    heights = np.random.default_rng(0).normal(size=(50, 60))
    for radius in (1, 2, 3, 5, 8):
        expected = ndimage.grey_opening(heights, footprint=window(radius))
        inner = slice(2 * radius, -2 * radius)
        np.testing.assert_array_equal(opening(heights, radius_cells=radius)[inner, inner], expected[inner, inner])


def test_window_is_round() -> None:
    """The octagon of radius 10 has the area of a disk within 7 % and every symmetry of the square."""
    octagon = window(10)
    assert (octagon == octagon.T).all()
    assert (octagon == octagon[::-1]).all()
    assert abs(octagon.sum() / (np.pi * 10.5**2) - 1) < 0.07


def test_block_is_lost_when_the_window_outgrows_it() -> None:
    """A block of 7 x 7 cells, 5 m high, loses its height at the first octagon that does not fit: radius 4."""
    heights = np.zeros((60, 60))
    heights[25:32, 25:32] = 5.0
    lost = {radius: grid[28, 28] for radius, grid in height_lost(heights, radii=range(1, 8))}
    assert [radius for radius, height in lost.items() if height > 0] == [4]
    assert lost[4] == 5.0


def test_plane_loses_nothing() -> None:
    """However steep, an even slope is left as it is."""
    heights = np.add.outer(np.arange(40) * 0.5, np.arange(40) * 2.0)
    for _, lost in height_lost(heights, radii=range(1, 6)):
        assert np.abs(lost[10:-10, 10:-10]).max() < 1e-9


def test_cells_without_height_are_passed_over() -> None:
    """Holes neither lose height nor change what the others lose on level ground."""
    heights = np.zeros((30, 30))
    heights[np.random.default_rng(0).random((30, 30)) < 0.7] = np.inf
    for _, lost in height_lost(heights, radii=range(1, 6)):
        assert (lost == 0).all()
