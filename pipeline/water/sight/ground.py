"""The rasters of an area, read by windows, so that none of them need fit into memory."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import cells_times_as_wide, lowest_into, mean_into, sum_into

Window = tuple[slice, slice]
"""Rows and columns of a grid."""
Read = Callable[[Window], Heights]
"""Gives the cells of one raster in a window."""

SQUARE_CELLS = 1024
"""Side, in cells of the area's own grid, of the squares that a large raster is read in: 8 MB for each array of 64 bits,
of which a dozen are in memory at once. Larger squares need more memory, smaller ones read more margin. Our choice."""
LEAST_PER_M2 = 0.3
"""Pulses a square metre of ground from which missing ones tell of water. With fewer, the gaps between scan lines look
the same: at 0.04 there were 76 such patches on a dry square kilometre, at 0.2 one, at 0.5 only the lakes (measured on
three real surveys). Water that the makers of the survey classed is drawn all the same."""


@dataclass(frozen=True)
class Ground:
    """What is known of the ground of an area.

    Attributes
    ----------
    grid : that all rasters lie on
    bare_earth : metres; NaN where unknown
    water_returns, last_returns : returns of class 9 and last returns a cell; 0 where there are none
    aimed_pulses : pulses a cell of the ground that they were aimed at, of those that met anything (`terrain.beams`)
    ground_support : metres to the nearest ground return; NaN where there is none
    canopy : metres that the canopy stands above the ground; None where nobody looked
    lone_returns, lone_shine : returns a cell from the ground that are alone of their pulse, and the sum of their
        brightness (`terrain.counts.lone_ground`); None where nobody looked
    """

    grid: Grid
    bare_earth: Read
    water_returns: Read
    last_returns: Read
    aimed_pulses: Read
    ground_support: Read
    canopy: Read | None = None
    lone_returns: Read | None = None
    lone_shine: Read | None = None


@dataclass(frozen=True)
class Sight:
    """What is known of the ground in one window, in memory: the rasters of `Ground`, (rows, cols) float32 each."""

    grid: Grid
    bare_earth: Heights
    water_returns: Heights
    last_returns: Heights
    aimed_pulses: Heights
    ground_support: Heights


def in_memory(values: Heights, /) -> Read:
    """A raster in memory as one that is read by windows."""
    return lambda window: values[window]


PIECE_CELLS, MOST_PIECES = 512, 24
"""Side in cells of the pieces that `in_pieces` reads, and how many of them are kept: 24 MB (our choice)."""


def in_pieces(read: Read, grid: Grid, /) -> Read:
    """A raster whose windows are cut from pieces that are kept in memory, for windows that lie near each other.

    Along the channels of an area thousands of small windows are read; each from disk, opening the file takes longer
    than all that is done with the cells. Windows larger than a piece are read as they are, unless all pieces of the
    raster are kept.
    """
    are_all_kept = -(-grid.rows // PIECE_CELLS) * -(-grid.cols // PIECE_CELLS) <= MOST_PIECES

    @lru_cache(maxsize=MOST_PIECES)
    def piece(row: int, col: int) -> Heights:
        rows, cols = (slice(at * PIECE_CELLS, (at + 1) * PIECE_CELLS) for at in (row, col))
        return read((slice(rows.start, min(rows.stop, grid.rows)), slice(cols.start, min(cols.stop, grid.cols))))

    def cut(window: Window) -> Heights:
        rows, cols = window
        sides = rows.stop - rows.start, cols.stop - cols.start
        if min(sides) <= 0 or (max(sides) > PIECE_CELLS and not are_all_kept):
            return read(window)
        found = np.empty((rows.stop - rows.start, cols.stop - cols.start), np.float32)
        for down in range(rows.start // PIECE_CELLS, (rows.stop - 1) // PIECE_CELLS + 1):
            for across in range(cols.start // PIECE_CELLS, (cols.stop - 1) // PIECE_CELLS + 1):
                (from_rows, into_rows), (from_cols, into_cols) = _shared(rows, down), _shared(cols, across)
                found[into_rows, into_cols] = piece(down, across)[from_rows, from_cols]
        return found

    return cut


def _shared(wanted: slice, number: int) -> tuple[slice, slice]:
    """The cells that a wanted range and a piece share, counted from the beginning of the piece and of the range."""
    begin = number * PIECE_CELLS
    start, stop = max(wanted.start, begin), min(wanted.stop, begin + PIECE_CELLS)
    return slice(start - begin, stop - begin), slice(start - wanted.start, stop - wanted.start)


def squares(grid: Grid, /, *, side_cells: int) -> Iterator[Window]:
    """Windows that together hold every cell once, counted from the north-west corner."""
    for top in range(0, grid.rows, side_cells):
        for left in range(0, grid.cols, side_cells):
            yield (
                slice(top, min(top + side_cells, grid.rows)),
                slice(left, min(left + side_cells, grid.cols)),
            )


def small_window(larger: Grid, grid: Grid, times: int, window: Window, /, *, margin_cells: int = 0) -> Window:
    """The cells of `grid` in a window of cells `times` as wide, and a margin of small cells; cut off at the rim."""
    rows, cols = window
    top, left = grid.north_row - larger.north_row * times, larger.west_col * times - grid.west_col
    return (
        _between(rows.start * times + top - margin_cells, rows.stop * times + top + margin_cells, grid.rows),
        _between(cols.start * times + left - margin_cells, cols.stop * times + left + margin_cells, grid.cols),
    )


def _between(start: int, stop: int, count: int) -> slice:
    return slice(min(max(0, start), count), max(0, min(stop, count)))


def times_for(grid: Grid, /, *, most_cells: int, least_times: int = 1) -> int:
    """The least whole number of times that cells must be as wide for the grid to have no more than so many of them."""
    times = least_times
    while np.prod(cells_times_as_wide(grid, times).shape, dtype=np.int64) > most_cells:
        times += 1
    return times


def seen_in(ground: Ground, window: Window, times: int, /) -> Sight:
    """What is known in a window, in cells `times` as wide: means of heights, sums of counts, least distances."""
    part = ground.grid.part(window)
    if times == 1:
        water, last, aimed = (np.nan_to_num(read(window)) for read in _counts(ground).values())
        return Sight(part, ground.bare_earth(window), water, last, aimed, ground.ground_support(window))
    larger = cells_times_as_wide(part, times)
    whole = [np.full(larger.shape, np.nan, np.float32) for _ in range(5)]
    for square in squares(larger, side_cells=max(1, SQUARE_CELLS // times)):
        rows, cols = small_window(larger, part, times, square)
        inside = (
            slice(rows.start + window[0].start, rows.stop + window[0].start),
            slice(cols.start + window[1].start, cols.stop + window[1].start),
        )
        for raster, values in zip(whole, _widened(ground, inside, larger.part(square), times), strict=True):
            raster[square] = values
    return Sight(larger, *whole)


def _counts(ground: Ground) -> dict[str, Read]:
    """The rasters that count, in the order of `Sight`."""
    return {"water": ground.water_returns, "last": ground.last_returns, "aimed": ground.aimed_pulses}


def _widened(ground: Ground, window: Window, larger: Grid, times: int) -> tuple[Heights, ...]:
    part = ground.grid.part(window)
    sums = sum_into({name: read(window) for name, read in _counts(ground).items()}, part, larger, times)
    return (
        mean_into(ground.bare_earth(window), part, larger, times),
        *sums.values(),
        lowest_into(ground.ground_support(window), part, larger, times),
    )
