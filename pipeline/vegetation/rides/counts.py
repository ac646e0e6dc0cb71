"""Counts of pulses over the whole area, read where a ride runs and no further."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Bounds, Grid, Heights
from pipeline.lattice.larger_cells import larger_cells, sum_into

RIDE_CELL_M = 1.0
"""Least cell in which rides are looked for: a quarter of a ride's width. Finer cells cost time and show single pulses
(our choice)."""
RIDE_COUNTS = ("clear", "pulses", "entered", "stopped")
"""Pulses that met no plant, all pulses, those that entered the running layer, and those of them stopped in it."""
PART_CELLS = 256
"""Side of the parts that are read at a time, in cells. Larger, a narrow ride reads much that lies beside it; smaller,
it reads more often (our choice)."""
MOST_PARTS = 96
"""Parts kept in memory, those last read: 100 MB of four counts (our choice)."""

Sums = Mapping[str, Heights]


@dataclass(frozen=True)
class _Held:
    """The parts in memory.

    Attributes
    ----------
    sums : (places, PART_CELLS, PART_CELLS, 4) float32, RIDE_COUNTS of the part that each place holds
    place_of : (parts down, parts across) where each part is held; -1 where it is not
    order : those that are held, the one read first at the front
    """

    sums: NDArray[np.float32]
    place_of: NDArray[np.int64]
    order: deque[tuple[int, int]] = field(default_factory=deque)


@dataclass(frozen=True)
class Counts:
    """RIDE_COUNTS in cells of RIDE_CELL_M or more.

    Attributes
    ----------
    grid : the cells of the whole area
    read : takes a part of that grid to its counts; what lies beyond the survey is 0
    """

    grid: Grid
    read: Callable[[Grid], Sums]

    @classmethod
    def of(cls, profile: Sums, grid: Grid, /) -> Counts:
        """The counts of grids in memory.

        Parameters
        ----------
        profile : RIDE_COUNTS among the grids of `pipeline.terrain.profile.profile_grids`
        """
        larger, times = larger_cells(grid, least_m=RIDE_CELL_M)
        sums = sum_into({name: profile[name] for name in RIDE_COUNTS}, grid, larger, times)
        return cls(larger, lambda part: {name: values[larger.window_of(part)] for name, values in sums.items()})

    def along(
        self, start: NDArray[np.float64], unit: NDArray[np.float64], n_sections: int, /, *, section_m: int, aside_m: int
    ) -> NDArray[np.float64]:
        """Clear pulses and all pulses along a straight line, laid out in sections and by the metre to its left.

        Parameters
        ----------
        start, unit : east, north of where the line begins; its direction, a vector of length 1
        section_m, aside_m : length of a section, and how far to either side pulses are laid out

        Returns
        -------
        (2, n_sections, 2 * aside_m + 1): of places 1 m apart the counts of the cell that each lies in, added up over
        each section; 0 outside the area
        """
        found = np.zeros((2, n_sections, 2 * aside_m + 1))
        held, grid, section = self._held, self.grid, 0
        across = held.place_of.shape[1]
        while True:
            lattice = (grid.west_col, grid.north_row, grid.rows, grid.cols)
            section, part = _lay_out(
                held.sums, held.place_of, start, unit, grid.cell_m, lattice, section_m, aside_m, section, found
            )
            if part < 0:
                return found
            self._place(*divmod(part, across))

    def around(self, bounds: Bounds, /) -> Iterator[tuple[Grid, Sums]]:
        """The parts that a rectangle touches, one after the other, each with its grid."""
        rows, cols = self.grid.window_around(bounds)
        for down in range(rows.start // PART_CELLS, -(-rows.stop // PART_CELLS)):
            for across in range(cols.start // PART_CELLS, -(-cols.stop // PART_CELLS)):
                grid, sums = self._grid_of(down, across), self._held.sums[self._place(down, across)]
                yield grid, {name: sums[: grid.rows, : grid.cols, k] for k, name in enumerate(RIDE_COUNTS)}

    def _grid_of(self, down: int, across: int) -> Grid:
        rows, cols = (
            slice(k * PART_CELLS, min((k + 1) * PART_CELLS, size))
            for k, size in zip((down, across), self.grid.shape, strict=True)
        )
        return self.grid.part((rows, cols))

    @cached_property
    def _held(self) -> _Held:
        down, across = (-(-size // PART_CELLS) for size in self.grid.shape)
        shape = (max(1, min(MOST_PARTS, down * across)), PART_CELLS, PART_CELLS, len(RIDE_COUNTS))
        return _Held(np.zeros(shape, np.float32), np.full((down, across), -1, np.int64))

    def _place(self, down: int, across: int) -> int:
        """Where a part is held in memory; it is read if it is not, in place of the one that was read first."""
        held = self._held
        if held.place_of[down, across] < 0:
            place = len(held.order)
            if place == len(held.sums):
                oldest = held.order.popleft()
                place = int(held.place_of[oldest])
                held.place_of[oldest] = -1
            grid = self._grid_of(down, across)
            for k, values in enumerate(map(self.read(grid).__getitem__, RIDE_COUNTS)):
                held.sums[place, : grid.rows, : grid.cols, k] = values
            held.place_of[down, across] = place
            held.order.append((down, across))
        return int(held.place_of[down, across])


@compiled
def _lay_out(
    sums: NDArray[np.float32],
    place_of: NDArray[np.int64],
    start: NDArray[np.float64],
    unit: NDArray[np.float64],
    cell_m: float,
    lattice: tuple[int, int, int, int],
    section_m: int,
    aside_m: int,
    section: int,
    found: NDArray[np.float64],
) -> tuple[int, int]:
    """Fill `found` as `Counts.along` gives it, from a section on, until a part is needed that is not held.

    Parameters
    ----------
    lattice : west_col, north_row, rows and cols of the grid
    section : the first one that is not filled

    Returns
    -------
    The section that is not filled yet, and the number of the part that it needs; number -1 when all are filled
    """
    west_col, north_row, rows, cols = lattice
    for s in range(section, found.shape[1]):
        for k in range(2):
            for aside in range(2 * aside_m + 1):
                found[k, s, aside] = 0.0
        for step in range(s * section_m, (s + 1) * section_m):
            east_m, north_m = start[0] + (step + 0.5) * unit[0], start[1] + (step + 0.5) * unit[1]
            for aside in range(-aside_m, aside_m + 1):
                # To the left is minus the northing of the direction, and its easting.
                col = np.int64(np.floor((east_m + aside * -unit[1]) / cell_m)) - west_col
                row = north_row - 1 - np.int64(np.floor((north_m + aside * unit[0]) / cell_m))
                if row < 0 or row >= rows or col < 0 or col >= cols:
                    continue
                down, across = row // PART_CELLS, col // PART_CELLS
                place = place_of[down, across]
                if place < 0:
                    return s, down * place_of.shape[1] + across
                down_in, across_in = row - down * PART_CELLS, col - across * PART_CELLS
                for k in range(2):
                    found[k, s, aside + aside_m] += sums[place, down_in, across_in, k]
    return found.shape[1], -1
