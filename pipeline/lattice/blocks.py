"""Working blocks: squares of a fixed lattice that the area is cut into, whatever its tiles look like."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.lattice.grid import Bounds


@dataclass(frozen=True, order=True)
class Block:
    """One square of the lattice of blocks, counted from the origin of the working CRS."""

    col: int
    row: int
    block_m: float

    @property
    def name(self) -> str:
        """Name of the block in file names: its place in the lattice."""
        return f"{self.col}_{self.row}"

    @property
    def bounds(self) -> Bounds:
        """west, south, east, north in metres."""
        return (
            self.col * self.block_m,
            self.row * self.block_m,
            (self.col + 1) * self.block_m,
            (self.row + 1) * self.block_m,
        )

    def reach(self, margin_m: float) -> Bounds:
        """The bounds grown by a margin on all sides."""
        west, south, east, north = self.bounds
        return west - margin_m, south - margin_m, east + margin_m, north + margin_m


def blocks_covering(frames: Sequence[Bounds], /, *, block_m: float) -> list[Block]:
    """The blocks that at least one frame (a tile's bounds, both edges included) touches, in fixed order."""
    found = set()
    for west, south, east, north in frames:
        for col in range(math.floor(west / block_m), math.floor(east / block_m) + 1):
            for row in range(math.floor(south / block_m), math.floor(north / block_m) + 1):
                found.add(Block(col, row, block_m))
    return sorted(found)


def block_named(name: str, block_m: float, /) -> Block:
    """The block of that name."""
    col, row = name.split("_")
    return Block(int(col), int(row), block_m)


def touches(a: Bounds, b: Bounds, /) -> bool:
    """Whether two rectangles share a point."""
    return a[0] <= b[2] and b[0] <= a[2] and a[1] <= b[3] and b[1] <= a[3]
