"""Counts of cells in squares and square rings around many places, from sums made once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Mask

Labels = NDArray[np.int64]


@dataclass(frozen=True)
class RunningSums:
    """How many cells are set above and to the left of each corner: sums over squares then take four of them.

    Source
    ------
    Summed-area tables: Crow (1984), Computer Graphics 18(3) 207-212 (from memory).
    """

    total: NDArray[np.int32]

    @classmethod
    def of(cls, mask: Mask, /) -> RunningSums:
        """The sums of a mask."""
        total = np.zeros((mask.shape[0] + 1, mask.shape[1] + 1), np.int32)
        np.cumsum(mask, axis=0, dtype=np.int32, out=total[1:, 1:])
        np.cumsum(total[1:, 1:], axis=1, out=total[1:, 1:])
        return cls(total)

    def within(self, row: Labels, col: Labels, half: int, /) -> Labels:
        """(n,) set cells in the square of a half side, in cells, around each place; none lie beyond the lattice."""
        rows, cols = (side - 1 for side in self.total.shape)
        top, bottom = np.maximum(row - half, 0), np.minimum(row + half + 1, rows)
        left, right = np.maximum(col - half, 0), np.minimum(col + half + 1, cols)
        found: Labels = np.asarray(self.total[bottom, right] - self.total[top, right], np.int64)
        found -= self.total[bottom, left] - self.total[top, left]
        return found

    def between(self, row: Labels, col: Labels, inner: int, outer: int, /) -> Labels:
        """(n,) set cells in the square ring between two half sides, in cells, around each place."""
        return self.within(row, col, outer) - self.within(row, col, inner)
