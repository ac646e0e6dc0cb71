"""Working blocks: squares of a fixed lattice that the area is cut into, whatever its tiles look like."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.lattice.grid import Bounds

_NAME = re.compile(r"([ew])(\d+)_([ns])(\d+)")


@dataclass(frozen=True, order=True, slots=True)
class Block:
    """One square of the lattice of blocks, counted from the origin of the working CRS."""

    col: int
    row: int
    block_m: float

    @property
    def name(self) -> str:
        """Name of the block in file names, such as `e1650_n24205`: squares east (or west) and north (or south).

        No sign stands in it, which a command line would take for an option.
        """
        return f"{'w' if self.col < 0 else 'e'}{abs(self.col)}_{'s' if self.row < 0 else 'n'}{abs(self.row)}"

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


def blocks_near(frame: Bounds, /, *, block_m: float, margin_m: float = 0.0) -> list[Block]:
    """The blocks that a frame touches when they are grown by a margin, in fixed order."""
    west, south, east, north = frame
    near = (
        Block(col, row, block_m)
        for col in range(math.floor((west - margin_m) / block_m) - 1, math.floor((east + margin_m) / block_m) + 2)
        for row in range(math.floor((south - margin_m) / block_m) - 1, math.floor((north + margin_m) / block_m) + 2)
    )
    return [block for block in near if touches(block.reach(margin_m), frame)]


def block_named(name: str, block_m: float, /) -> Block:
    """The block of that name.

    Raises
    ------
    ValueError
        If it is no name of a block.
    """
    parts = _NAME.fullmatch(name)
    if parts is None:
        raise ValueError(f"'{name}' is no name of a block; they are like e12_n7 or w3_s20")
    across, col, along, row = parts.groups()
    return Block(-int(col) if across == "w" else int(col), -int(row) if along == "s" else int(row), block_m)


def touches(a: Bounds, b: Bounds, /) -> bool:
    """Whether two rectangles share a point."""
    return a[0] <= b[2] and b[0] <= a[2] and a[1] <= b[3] and b[1] <= a[3]


def shared_m2(a: Bounds, b: Bounds, /) -> float:
    """Ground that two rectangles share."""
    return max(0.0, min(a[2], b[2]) - max(a[0], b[0])) * max(0.0, min(a[3], b[3]) - max(a[1], b[1]))
