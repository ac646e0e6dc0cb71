"""Which cells of a tile hold a return, from which the holes of a survey are found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Mask
from pipeline.remembered import packed, unpacked
from pipeline.returns.cloud import Cloud


@dataclass(frozen=True)
class SeenCells:
    """Square cells of a lattice counted from the origin of the CRS, in a rectangle around the returns of a tile.

    Attributes
    ----------
    first : (2,) int64, column and row of the cell in the south-west
    held : (rows, cols) which cells hold a return; rows go north
    """

    first: NDArray[np.int64]
    held: Mask

    @classmethod
    def of(cls, cloud: Cloud, side_m: float, /) -> SeenCells:
        """Those under a cloud, in cells of that side."""
        if not len(cloud):
            return cls(np.zeros(2, np.int64), np.zeros((0, 0), np.bool_))
        col, row = (np.floor(axis / side_m).astype(np.int64) for axis in (cloud.east, cloud.north))
        first = np.array((col.min(), row.min()))
        held = np.zeros((row.max() - first[1] + 1, col.max() - first[0] + 1), np.bool_)
        held[row - first[1], col - first[0]] = True
        return cls(first, held)

    def places(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Columns and rows of the cells that hold a return."""
        row, col = np.nonzero(self.held)
        return col + self.first[0], row + self.first[1]

    def to_bytes(self) -> bytes:
        """The cells as they are kept from run to run."""
        return packed({"first": self.first, "shape": np.array(self.held.shape), "bits": np.packbits(self.held)})

    @classmethod
    def from_bytes(cls, value: bytes, /) -> SeenCells:
        """The cells that `to_bytes` wrote."""
        kept = unpacked(value)
        rows, cols = kept["shape"].tolist()
        held = np.unpackbits(kept["bits"].astype(np.uint8), count=rows * cols).astype(np.bool_)
        return cls(kept["first"].astype(np.int64), held.reshape(rows, cols))
