"""Counts of pulses over the whole area, read where a ride runs and no further."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Bounds, EastNorth, Grid, Heights
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
"""Parts kept in memory, those last asked for: 100 MB of four counts (our choice)."""

Sums = Mapping[str, Heights]


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
    _kept: OrderedDict[tuple[int, int], Sums] = field(default_factory=OrderedDict, repr=False)

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

    def at(self, names: Sequence[str], places: EastNorth, /) -> NDArray[np.float64]:
        """(k, n) counts by these names of the cell that each place lies in; 0 outside the area."""
        row, col = self.grid.row_col(places[:, 0], places[:, 1])
        found = np.zeros((len(names), len(places)))
        n_across = self.grid.cols // PART_CELLS + 1
        number = _part_numbers(row, col, *self.grid.shape, n_across)
        for part in np.flatnonzero(np.bincount(number, minlength=1)[1:]) + 1:
            sums = self._part(*divmod(int(part) - 1, n_across))
            for k, name in enumerate(names):
                _take(sums[name], row, col, number, int(part), n_across, found[k])
        return found

    def around(self, bounds: Bounds, /) -> Iterator[tuple[Grid, Sums]]:
        """The parts that a rectangle touches, one after the other, each with its grid."""
        rows, cols = self.grid.window_around(bounds)
        for down in range(rows.start // PART_CELLS, -(-rows.stop // PART_CELLS)):
            for across in range(cols.start // PART_CELLS, -(-cols.stop // PART_CELLS)):
                yield self._grid_of(down, across), self._part(down, across)

    def _grid_of(self, down: int, across: int) -> Grid:
        rows, cols = (
            slice(k * PART_CELLS, min((k + 1) * PART_CELLS, size))
            for k, size in zip((down, across), self.grid.shape, strict=True)
        )
        return self.grid.part((rows, cols))

    def _part(self, down: int, across: int) -> Sums:
        if (down, across) not in self._kept:
            self._kept[down, across] = self.read(self._grid_of(down, across))
            if len(self._kept) > MOST_PARTS:
                self._kept.popitem(last=False)
        self._kept.move_to_end((down, across))
        return self._kept[down, across]


@compiled
def _part_numbers(
    row: NDArray[np.int64], col: NDArray[np.int64], rows: int, cols: int, n_across: int
) -> NDArray[np.int64]:
    """(n,) number of the part that each cell lies in, from 1, counted row by row; 0 outside the grid."""
    number = np.zeros(len(row), np.int64)
    for n in range(len(row)):
        if 0 <= row[n] < rows and 0 <= col[n] < cols:
            number[n] = row[n] // PART_CELLS * n_across + col[n] // PART_CELLS + 1
    return number


@compiled
def _take(
    values: Heights,
    row: NDArray[np.int64],
    col: NDArray[np.int64],
    number: NDArray[np.int64],
    part: int,
    n_across: int,
    found: NDArray[np.float64],
) -> None:
    """Write the values of the cells that lie in one part into `found`.

    Parameters
    ----------
    values : (rows, cols) of that part
    row, col, number : (n,) cells of the whole grid, and the number of the part of each by `_part_numbers`
    """
    top, left = (part - 1) // n_across * PART_CELLS, (part - 1) % n_across * PART_CELLS
    for n in range(len(row)):
        if number[n] == part:
            found[n] = values[row[n] - top, col[n] - left]
