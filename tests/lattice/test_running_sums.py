"""Counts of cells in squares and square rings, from running sums."""

from __future__ import annotations

import numpy as np

from pipeline.lattice.running_sums import RunningSums


def test_counts_are_those_of_cells_counted_one_by_one() -> None:
    """Squares that reach beyond the lattice too."""
    rng = np.random.default_rng(5)
    mask = rng.random((23, 31)) < 0.4
    sums = RunningSums.of(mask)
    row, col = (a.ravel() for a in np.indices(mask.shape))
    padded = np.pad(mask, 6)
    for half in (0, 1, 6):
        places = zip(row + 6, col + 6, strict=True)
        counted = [padded[r - half : r + half + 1, c - half : c + half + 1].sum() for r, c in places]
        np.testing.assert_array_equal(sums.within(row, col, half), counted)


def test_a_ring_leaves_out_its_middle() -> None:
    """A square set from its middle out leaves nothing for the ring around it."""
    mask = np.zeros((9, 9), bool)
    mask[3:6, 3:6] = True
    sums = RunningSums.of(mask)
    middle = np.array([4])
    assert sums.between(middle, middle, 1, 3).tolist() == [0]
    assert sums.between(middle, middle, 0, 3).tolist() == [8]
