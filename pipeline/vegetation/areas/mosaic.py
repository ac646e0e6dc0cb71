"""The mosaic of vegetation that one can read while running, made of what each cell is by itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid
from pipeline.lattice.larger_cells import larger_cells, parts_of_cells
from pipeline.norm.symbols import isom
from pipeline.vegetation.areas.hatching import HATCHED_OF, PLAIN_OF, has_clear_view, without_stray_lines
from pipeline.vegetation.areas.kinds import AREA_SYMBOLS, MIN_AREA_OF_KIND_M2, NOT_SEEN, OUTSIDE
from pipeline.vegetation.areas.merging import Kinds, Numbers, merge_areas

AREA_CELL_M = 1.0
"""Least cell in which areas are drawn: 0.07 mm on a map at 1:15 000. Finer cells cost time and show single boughs (our
choice)."""
AREA_SPARE_RATIO = 1.15
"""Areas of cells are kept this many times their smallest size, as smoothing their edges takes a little off them (our
choice)."""
TELLING_M2 = isom("406").smallest.area_m2
"""An area one band apart from what is around it is drawn from this size on, 1 x 1 mm on a map at 1:15 000; one two
bands apart from a quarter of it, if the norm has none larger. A runner sees a patch of fight in white forest, and runs
by one of walk in fight (our choice; see the figure `mosaic` for what it does to real forest)."""

_RANKS = {"405": 0.0, "406": 1.0, "407": 0.8, "408": 2.0, "409": 1.8, "410": 3.0}
_RANKS |= {"401": 0.0, "402": 0.6, "403": 1.0, "404": 1.4}
_FAR_APART = 4.0
"""Open land, forest and ground not seen are as far from each other as four bands are, one more than there are."""
_DARK = ("408", "410", "401")
_OPENING_IN_LIGHT_M2 = isom("406").smallest.area_m2
"""White forest is an opening in what is around it, and may be as small as 0.7 x 0.7 mm in 401, 408 and 410 but not
below 1 x 1 mm in paler screens (405, from memory). 406 is as small; the table has no column for openings."""


def settle_kinds(kinds: Kinds, /, *, cell_m: float) -> Kinds:
    """Kinds of which every area is large enough to be drawn, and differs enough from its neighbours to be seen.

    The bands are settled first, whatever one sees; of what is slow or walk then, the parts with a clear view are
    hatched (407, 409) where they are large enough to show their lines.
    """
    plain = np.append(PLAIN_OF, OUTSIDE).astype(np.int16)
    least_m2 = least_areas_m2()
    loss = losses()
    bands = merge_areas(plain[kinds], kinds, loss, cell_m=cell_m, least_m2=least_m2, telling_m2=TELLING_M2)
    hatched = np.where(has_clear_view(kinds, cell_m=cell_m), HATCHED_OF[bands], bands)
    split = merge_areas(hatched, hatched, loss, cell_m=cell_m, least_m2=least_m2, telling_m2=0.0)
    return without_stray_lines(split, cell_m=cell_m)


def losses() -> Numbers:
    """(k, k) hundredths: how wrong a cell of one kind is drawn as another: the square of how many bands they are apart.

    407 and 409 lie beside 406 and 408, 402 to 404 beside 401. The ranks are our choice; squares are what a weighted
    kappa counts.
    """
    rank = np.array([*(_RANKS[symbol] for symbol in AREA_SYMBOLS), 0.0])
    group = np.array([*(int(symbol) < 405 for symbol in AREA_SYMBOLS), 2])
    apart = np.where(np.equal.outer(group, group), np.abs(np.subtract.outer(rank, rank)), _FAR_APART)
    return np.round(100 * apart**2).astype(np.int64)


def least_areas_m2() -> NDArray[np.float64]:
    """(k, k) least area of cells of one kind where most of what is around them is of another kind."""
    least = np.repeat(MIN_AREA_OF_KIND_M2[:, None], NOT_SEEN + 1, axis=1)
    is_light = [symbol not in _DARK for symbol in AREA_SYMBOLS]
    least[AREA_SYMBOLS.index("405"), :NOT_SEEN][is_light] = _OPENING_IN_LIGHT_M2
    return least * AREA_SPARE_RATIO


def in_larger_cells(kinds: Kinds, grid: Grid, /) -> tuple[Kinds, Grid, int]:
    """Kinds in cells of AREA_CELL_M or more, their grid, and how many old cells fit in one side.

    A larger cell has, of the kinds of the cells in it, the one that makes least loss for all of them.
    """
    larger, times = larger_cells(grid, least_m=AREA_CELL_M)
    parts = parts_of_cells(kinds, grid, larger, times, outside=OUTSIDE)
    # What lies outside costs nothing as any kind, and is chosen only where nothing else lies in the cell.
    loss = np.pad(losses(), (0, 1)).astype(np.int32)
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
