"""The ground that returns cover, in squares of 10 m, and what is decided from it whatever the cut into tiles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Bounds
from pipeline.returns.cloud import Cloud

CELL_M = 10.0
"""Side of a square in metres: it holds 50 pulses at the density from which cells of 1 m are drawn. Our choice."""
PATCH_M = 100.0
"""Side in metres of the patches on which it is tried whose ground to use. Our choice."""
LEAST_COVERED_SHARE = 0.5
"""Share of a patch that must be covered, so that it tells of the survey and not of its rim. Our choice."""


@dataclass(frozen=True)
class GroundCells:
    """Squares of 10 m with usable returns.

    Attributes
    ----------
    cells : (n, 2) int32
        Column and row of each, counted from the origin of the working CRS; sorted.
    pulses : (n,) int64
        First returns in each; all returns where they are not numbered.
    """

    cells: NDArray[np.int32]
    pulses: NDArray[np.int64]

    @classmethod
    def of(cls, cloud: Cloud, /) -> Self:
        """Those under the usable returns of a cloud."""
        key = _keys(np.floor(cloud.east / CELL_M), np.floor(cloud.north / CELL_M))
        # Sorted without asking which return went where, which takes ten times as long.
        kept = np.unique(key[cloud.is_usable])
        first, counts = np.unique(key[cloud.is_usable & (cloud.return_number <= 1)], return_counts=True)
        pulses = np.zeros(len(kept), np.int64)
        pulses[np.searchsorted(kept, first)] = counts
        return cls(_places(kept), pulses)

    @classmethod
    def joined(cls, parts: Sequence[GroundCells], /) -> Self:
        """Those of several pieces of a survey; pulses that two pieces repeat count twice."""
        if not parts:
            return cls(np.empty((0, 2), np.int32), np.empty(0, np.int64))
        return cls._summed(np.concatenate([p.cells for p in parts]), np.concatenate([p.pulses for p in parts]))

    @classmethod
    def _summed(cls, cells: NDArray[np.int32], pulses: NDArray[np.int64]) -> Self:
        kept, where = np.unique(_keys(cells[:, 0], cells[:, 1]), return_inverse=True)
        sums = np.bincount(where, weights=pulses, minlength=len(kept)).astype(np.int64)
        return cls(_places(kept), sums)

    @property
    def covered_m2(self) -> float:
        """Ground covered."""
        return len(self.cells) * CELL_M**2

    def pulses_per_m2(self) -> float:
        """Density on half of the covered ground: the median, which a ragged rim and tiles that overlap hardly move."""
        return float(np.median(self.pulses)) / CELL_M**2 if len(self.pulses) else 0.0

    def patches(self, most: int, /) -> list[Bounds]:
        """Some squares of 100 m spread evenly over the covered ground, of a fixed lattice: the same for every cut."""
        per_side = int(PATCH_M / CELL_M)
        patches, counts = np.unique(self.cells // per_side, axis=0, return_counts=True)
        well = counts >= LEAST_COVERED_SHARE * per_side**2
        patches = patches[well] if well.any() else patches
        step = max(1, -(-len(patches) // most))
        return [
            (col * PATCH_M, row * PATCH_M, (col + 1) * PATCH_M, (row + 1) * PATCH_M)
            for col, row in patches[step // 2 :: step].tolist()
        ]


def _keys(cols: NDArray[np.generic], rows: NDArray[np.generic]) -> NDArray[np.int64]:
    """(n,) one number for each square, in the order of columns and then of rows."""
    return (cols.astype(np.int64) << 32) + rows.astype(np.int64)


def _places(keys: NDArray[np.int64]) -> NDArray[np.int32]:
    """(n, 2) column and row of each square."""
    rows = (keys & 0xFFFFFFFF).astype(np.uint32).view(np.int32)
    return np.stack(((keys - rows) >> 32, rows), axis=1).astype(np.int32)
