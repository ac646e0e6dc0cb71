"""Squares of a fixed lattice: each cell in one of them, and the same square whatever grid it is seen in."""

from __future__ import annotations

import numpy as np

from pipeline.lattice.grid import Grid
from pipeline.outlines.squares import squares_over

GRID = Grid("EPSG:25832", -35, 62, 1.0, 90, 70)
VALUES = np.random.default_rng(3).random(GRID.shape).astype(np.float32)


def test_each_cell_lies_in_one_square() -> None:
    """Whole grid, once."""
    count = np.zeros(GRID.shape, int)
    for square in squares_over(GRID, GRID.bounds, margin_m=5, square_m=20):
        count[square.own] += 1
        np.testing.assert_array_equal(square.around(VALUES)[square.inner], VALUES[square.own])
    assert (count == 1).all()


def test_a_square_is_the_same_in_a_smaller_grid() -> None:
    """Cells of the square and of its margin, as long as both grids hold them; beyond the grid lies 0."""
    window = GRID.window_around((-19.5, 1.5, 39.5, 49.5))
    part = GRID.part(window)
    wanted = (0.0, 20.0, 20.0, 40.0)
    (large,) = squares_over(GRID, wanted, margin_m=5, square_m=20)
    (small,) = squares_over(part, wanted, margin_m=5, square_m=20)
    np.testing.assert_array_equal(large.around(VALUES), small.around(VALUES[window]))
    (corner,) = squares_over(GRID, (-40.0, 60.0, -20.0, 80.0), margin_m=5, square_m=20)
    assert corner.around(VALUES).shape == (30, 30)
    assert (corner.around(VALUES)[:5] == 0).all()
