"""Reaches: chains of cells that water runs along, as smooth lines on the lowest ground."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorth, Grid, Heights
from pipeline.outlines.skeleton import ROUNDED_REACH, rounded
from pipeline.water.drainage.drainage import Drainage
from pipeline.water.running.along import filtered_along, starts_of
from pipeline.water.sight.ground import SQUARE_CELLS, Read, small_window, squares

TOLERANCE_M = 0.5
"""Vertices that bend a line by less than this, in metres, are dropped: a fifth of the width that 306 is drawn with. Our
choice."""


def reaches(drainage: Drainage, wet: NDArray[np.bool_], size: NDArray[np.float64]) -> list[NDArray[np.int64]]:
    """Chains of wet cells, each from its head down to the outlet or to the larger stream it joins.

    Where streams join, the one of greater `size` goes on (Hack's main stream); ties are broken by position.

    Parameters
    ----------
    wet : (n,) bool
        Cells that carry water.
    size : (n,) float64
        How large the stream in each cell is, in whatever unit.
    """
    receiver = drainage.receiver
    giving = np.flatnonzero(wet & (receiver >= 0))
    giving = giving[wet[receiver[giving]]]
    by_size = giving[np.lexsort((-giving, size[giving], receiver[giving]))]
    is_last = np.append(receiver[by_size][1:] != receiver[by_size][:-1], True)[: len(by_size)]
    main_donor = np.full(len(receiver), -1, np.int64)
    main_donor[receiver[by_size[is_last]]] = by_size[is_last]
    heads = np.flatnonzero(wet & (main_donor < 0))
    cells, lengths = np.empty(np.count_nonzero(wet) + len(heads), np.int64), np.empty(len(heads), np.int64)
    _follow(receiver, main_donor, wet, heads, cells, lengths)
    return np.split(cells[: lengths.sum()], np.cumsum(lengths)[:-1]) if len(heads) else []


@compiled
def _follow(
    receiver: NDArray[np.int64],
    main_donor: NDArray[np.int64],
    wet: NDArray[np.bool_],
    heads: NDArray[np.int64],
    cells: NDArray[np.int64],
    lengths: NDArray[np.int64],
) -> None:
    """Fill in the cells of the chain from each head, one chain after the other, and how many each has."""
    count = 0
    for number in range(len(heads)):
        first, at = count, heads[number]
        cells[count] = at
        count += 1
        below = receiver[at]
        while below >= 0 and wet[below]:
            cells[count] = below
            count += 1
            if main_donor[below] != at:
                break
            at, below = below, receiver[below]
        lengths[number] = count - first


BESIDE_CELLS = 3
"""Cells of a stream, one after the other, that touch a larger one, from which both are one bed. Our choice."""


def merged(
    chains: Sequence[NDArray[np.int64]], size: NDArray[np.float64], shape: tuple[int, int], /
) -> list[NDArray[np.int64]]:
    """The chains without the stretches that run side by side with a larger stream: a bed two cells wide is one stream.

    Each is cut where it first touches a larger one for `BESIDE_CELLS`, and its last cell there is of the larger one.
    """
    rows, cols = shape
    owner = np.full(rows * cols, -1, np.int64)
    found: list[NDArray[np.int64]] = []
    order = sorted(range(len(chains)), key=lambda each: (-size[chains[each][-1]], -len(chains[each]), each))
    for each in order:
        chain = chains[each]
        beside = np.array([_neighbour_of(owner, int(at), shape) for at in chain[:-1]], np.int64)
        runs = np.flatnonzero(np.convolve(beside >= 0, np.ones(BESIDE_CELLS), "valid") == BESIDE_CELLS)
        kept = np.append(chain[: runs[0] + 1], beside[runs[0]]) if len(runs) else chain
        fresh = kept[owner[kept] < 0]
        owner[fresh] = each
        if len(fresh) > 1:
            found.append(kept)
    return found


def _neighbour_of(owner: NDArray[np.int64], at: int, shape: tuple[int, int]) -> int:
    """The first cell beside one, or itself, that has an owner; -1 where none has."""
    row, col = divmod(at, shape[1])
    near = [
        r * shape[1] + c
        for r in range(max(0, row - 1), min(shape[0], row + 2))
        for c in range(max(0, col - 1), min(shape[1], col + 2))
    ]
    return next((cell for cell in near if owner[cell] >= 0), -1)


def lines_of(
    chains: Sequence[NDArray[np.int64]], bare_earth: Read, grid: Grid, lattice: Grid, every: int, /
) -> list[LineString]:
    """Each chain of cells of `lattice` as a smooth line on the lowest ground; empty where it has no length.

    Each vertex is first moved to the lowest cell of `grid` that lies within one cell of `lattice`.
    """
    if not chains:
        return []
    cells = np.concatenate(chains)
    row, col = np.divmod(cells, lattice.cols)
    lowest = np.empty((len(cells), 2))
    side = max(1, SQUARE_CELLS // every)
    square_of = row // side * (-(-lattice.cols // side)) + col // side
    for number, square in enumerate(squares(lattice, side_cells=side)):
        here = np.flatnonzero(square_of == number)
        if len(here):
            window = small_window(lattice, grid, every, square, margin_cells=2 * every)
            east, north = (centres[at[here]] for centres, at in zip(lattice.centres(), (col, row), strict=True))
            places = np.column_stack([east, north])
            lowest[here] = _lowest_near(places, bare_earth(window), grid.part(window), lattice.cell_m)
    return _lines_through(lowest, np.array([len(chain) for chain in chains]))


def _lines_through(places: EastNorth, lengths: NDArray[np.int64]) -> list[LineString]:
    """A smooth line through the places of each chain, which lie one chain after the other; empty for one place."""
    smooth = filtered_along(places, lengths, ROUNDED_REACH, rounded)
    ends = np.concatenate((starts_of(lengths), np.cumsum(lengths) - 1))
    smooth[ends] = places[ends]
    is_line = lengths >= 2
    of = np.repeat(np.cumsum(is_line) - 1, lengths)
    has_line = np.repeat(is_line, lengths)
    drawn = shapely.simplify(shapely.linestrings(smooth[has_line], indices=of[has_line]), TOLERANCE_M)
    lines = np.full(len(lengths), LineString(), dtype=object)
    lines[is_line] = drawn
    return [line if isinstance(line, LineString) else LineString() for line in lines]


def _lowest_near(places: EastNorth, bare_earth: Heights, grid: Grid, reach_m: float) -> EastNorth:
    """The centre of the lowest cell within `reach_m` of each place."""
    n = max(1, round(reach_m / grid.cell_m))
    row, col = grid.row_col(places[:, 0], places[:, 1])
    offsets = np.array([(d, r) for d in range(-n, n + 1) for r in range(-n, n + 1)])
    rows = np.clip(row[:, None] + offsets[:, 0], 0, grid.rows - 1)
    cols = np.clip(col[:, None] + offsets[:, 1], 0, grid.cols - 1)
    heights = np.where(np.isfinite(bare_earth[rows, cols]), bare_earth[rows, cols], np.inf)
    best = np.argmin(heights, axis=1)
    east, north = grid.centres()
    each = np.arange(len(places))
    return np.column_stack([east[cols[each, best]], north[rows[each, best]]])
