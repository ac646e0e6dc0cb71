"""The mosaic of vegetation that one can read while running, made of what each cell is by itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Grid
from pipeline.lattice.larger_cells import larger_cells, parts_of_cells
from pipeline.norm.symbols import isom
from pipeline.vegetation.areas.hatching import without_stray_lines
from pipeline.vegetation.areas.kinds import AREA_SYMBOLS, MIN_AREA_OF_KIND_M2, NOT_SEEN, OUTSIDE, cells_of
from pipeline.vegetation.areas.merging import Kinds, Limits, merge_areas
from pipeline.vegetation.areas.quieting import quieted
from pipeline.vegetation.areas.widths import with_least_widths
from pipeline.vegetation.running.runnability import BAND_OF

AREA_CELL_M = 1.0
"""Least cell in which areas are drawn: 0.07 mm on a map at 1:15 000. Finer cells cost time and show single boughs (our
choice)."""
THREAD_M = 2.0
"""Parts of a band narrower than this are no thicket and no gap, but chance: 0.13 mm on a map at 1:15 000, half of the
narrowest 410 and a third of the narrowest 406 (our choice)."""
AREA_SPARE_RATIO = 1.15
"""Areas of cells are kept this many times their smallest size, as smoothing their edges takes a little off them (our
choice)."""
SLOWER_TELLS_M2 = AREA_SPARE_RATIO * isom("408").smallest.area_m2
"""An area one band slower than what is around it is drawn from this size on, 0.75 x 0.75 mm on a map at 1:15 000; one
two bands slower from a quarter of it, if the norm has none larger. It is what a runner goes round, and in few places
there are many of them (our choice; see the figure `mosaic` for what it does to forests)."""
FASTER_TELLS_M2 = isom("406").smallest.area_m2
"""An area one band faster than what is around it is drawn from this size on, 1 x 1 mm: the norm asks as much of an
opening in a pale screen. Nobody leaves the line for a smaller one (our choice)."""

_RANKS = {"405": 0.0, "406": 1.0, "407": 0.4, "408": 2.0, "409": 1.4, "410": 3.0}
_RANKS |= {"401": 0.0, "402": 0.6, "403": 1.0, "404": 1.4}
"""407 and 409 are as slow as 406 and 408, but where their areas are too small to be hatched they are mostly low growth
that a mapper leaves white, or draws one band lighter: 0.4 is fitted on `hard_steep`, `hard_moraine`, `hard_farmland`
and `relief_3506_4`, where 0.8 and 0.5 were worse. The other ranks are our choice."""
_FAR_APART = 4.0
"""Open land, forest and ground not seen are as far from each other as four bands are, one more than there are."""
_DARK = ("408", "410", "401")
_OPENING_IN_PALE_M2 = isom("406").smallest.area_m2
"""White forest is an opening in what is around it, and may be as small as 0.7 x 0.7 mm in 401, 408 and 410 but not
below 1 x 1 mm in paler screens (405, from memory). 406 is as small; the table has no column for openings."""


def settle_kinds(kinds: Kinds, /, *, cell_m: float) -> Kinds:
    """Kinds of which every area is large enough to be drawn, and tells a runner something.

    No part of one is a mere thread, and areas of 407 and 409 that would show stray lines only are 406 and 408.
    """
    limits = limits_of_areas()
    merged = merge_areas(quieted(kinds, limits.loss), limits, cell_m=cell_m)
    settled = merge_areas(without_threads(merged, cell_m=cell_m), limits, cell_m=cell_m)
    wide = with_least_widths(settled, evidence=kinds, limits=limits, cell_m=cell_m)
    return without_stray_lines(merge_areas(wide, limits, cell_m=cell_m), cell_m=cell_m)


def without_threads(kinds: Kinds, /, *, cell_m: float) -> Kinds:
    """Kinds with what is narrower than THREAD_M of a band given to the nearest ground that is not."""
    n_cells = round(THREAD_M / cell_m)
    if n_cells < 2:
        return kinds
    square, is_wide = np.ones((n_cells, n_cells), np.bool_), kinds >= 0
    for symbol in BAND_OF:
        cells = cells_of(kinds, (symbol,))
        # Beyond the rim of the grid an area goes on.
        opened = ndimage.binary_opening(np.pad(cells, n_cells, mode="edge"), square)
        is_wide[cells] = opened[n_cells:-n_cells, n_cells:-n_cells][cells]
    if not is_wide.any():
        return kinds
    row, col = ndimage.distance_transform_edt(~is_wide, return_distances=False, return_indices=True)
    nearest: Kinds = kinds[row, col]
    return np.where(kinds >= 0, nearest, kinds)


def limits_of_areas() -> Limits:
    """How wrong each kind is as another, and how large it must be beside it.

    The loss is the square of how many bands the two are apart, as a weighted kappa counts it.
    """
    rank = np.array([*(_RANKS[symbol] for symbol in AREA_SYMBOLS), 0.0])
    drawn = np.array([*(float(BAND_OF.get(symbol, _RANKS[symbol])) for symbol in AREA_SYMBOLS), 0.0])
    group = np.array([*(int(symbol) < 405 for symbol in AREA_SYMBOLS), 2])
    more = np.subtract.outer(rank, rank)
    # Low growth may pass for white, but what is drawn as 407 is slow: white forest is not to become it so easily.
    wrong = np.maximum(np.abs(more), np.abs(np.subtract.outer(rank, drawn)))
    np.fill_diagonal(wrong, 0)
    apart = np.where(np.equal.outer(group, group), wrong, _FAR_APART)
    least = np.repeat(AREA_SPARE_RATIO * MIN_AREA_OF_KIND_M2[:, None], NOT_SEEN + 1, axis=1)
    pale = [kind for kind, symbol in enumerate(AREA_SYMBOLS) if symbol not in _DARK]
    least[AREA_SYMBOLS.index("405"), pale] = _OPENING_IN_PALE_M2
    loss = np.round(100 * apart**2).astype(np.int64)
    return Limits(loss, least, np.where(more > 0, SLOWER_TELLS_M2, FASTER_TELLS_M2))


def in_larger_cells(kinds: Kinds, grid: Grid, /) -> tuple[Kinds, Grid, int]:
    """Kinds in cells of AREA_CELL_M or more, their grid, and how many old cells fit in one side.

    A larger cell has, of the kinds of the cells in it, the one that makes least loss for all of them.
    """
    larger, times = larger_cells(grid, least_m=AREA_CELL_M)
    parts = parts_of_cells(kinds, grid, larger, times, outside=OUTSIDE)
    # What lies outside costs nothing as any kind, and is chosen only where nothing else lies in the cell.
    loss = np.pad(limits_of_areas().loss, (0, 1)).astype(np.int32)
    loss[:, OUTSIDE] = 100_000
    chosen = parts[0]
    least = _loss_as(parts, chosen, loss)
    for part in parts[1:]:
        total = _loss_as(parts, part, loss)
        chosen, least = np.where(total < least, part, chosen), np.minimum(total, least)
    return chosen, larger, times


def _loss_as(parts: Kinds, kind: Kinds, loss: NDArray[np.int32]) -> NDArray[np.int32]:
    """(rows, cols) hundredths: loss of all parts of each cell drawn as one kind."""
    total = np.zeros(kind.shape, np.int32)
    for part in parts:
        total += loss[part, kind]
    return total
