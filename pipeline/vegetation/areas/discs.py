"""The least widths of the norm as discs of cells, and what of an area no disc that lies wholly in it reaches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Mask
from pipeline.norm.symbols import isom
from pipeline.vegetation.areas.kinds import AREA_SYMBOLS, NOT_SEEN
from pipeline.vegetation.areas.merging import Kinds, Numbers

WIDTH_M = {"406": isom("406").smallest.width_m, "408": isom("408").smallest.width_m, "410": 4.5}
"""Least widths of growth drawn as a full tone, metres; 407 and 409 have none. 410 may be 3.75 m wide, but that is too
few cells for a disc: smoothing its edge takes as much as half a cell on each side (our choice)."""
MOST_SWEEPS = 200
"""Sweeps over the narrow cells after which ways are taken as they are; a handful is enough for any part we saw."""


@dataclass(frozen=True)
class Discs:
    """The least width of each kind as a disc of cells.

    Attributes
    ----------
    n_cells : (k,) diameter of the disc of each kind in cells; 0 for kinds that may be as narrow as they like
    offsets : (n, 2) rows and columns of the cells of all discs from the cell that they are laid at
    starts : (k + 1,) where the cells of each kind begin in `offsets`
    """

    n_cells: Numbers
    offsets: Numbers
    starts: Numbers

    def of(self, kind: int) -> Numbers:
        """(n, 2) cells of the disc of one kind."""
        return self.offsets[self.starts[kind] : self.starts[kind + 1]]


def discs_of(cell_m: float, /) -> Discs:
    """The discs that areas of each kind are to be made of, on cells of that size."""
    n_cells = np.zeros(NOT_SEEN + 1, np.int64)
    for symbol, width_m in WIDTH_M.items():
        n_cells[AREA_SYMBOLS.index(symbol)] = np.ceil(width_m / cell_m - 1e-6)
    cells = [_disc(int(n)) for n in n_cells]
    return Discs(n_cells, np.concatenate(cells), np.cumsum([0, *(len(one) for one in cells)]))


def _disc(n_cells: int) -> Numbers:
    """(n, 2) rows and columns of the cells whose middle lies in a disc of that diameter."""
    away = (np.arange(n_cells) - (n_cells - 1) / 2) ** 2
    row, col = np.nonzero(np.add.outer(away, away) <= (n_cells / 2) ** 2)
    return np.column_stack((row, col)) - n_cells // 2


def laid(at: Mask, disc: Numbers, /) -> Mask:
    """(rows, cols) cells that are covered by a disc laid at each of these."""
    covered = np.zeros(at.shape, np.bool_)
    row, col = np.nonzero(at)
    r, c = row[:, None] + disc[:, 0], col[:, None] + disc[:, 1]
    inside = (r >= 0) & (c >= 0) & (r < at.shape[0]) & (c < at.shape[1])
    covered[r[inside], c[inside]] = True
    return covered


def narrow_cells(kinds: Kinds, discs: Discs, /) -> Mask:
    """(rows, cols) cells that lie in no disc of their kind that its area holds whole; beyond the grid areas go on."""
    return _narrow_cells(np.ascontiguousarray(kinds), discs.offsets, discs.starts, int(discs.n_cells.max()))


def steps_from_broad(kinds: Kinds, narrow: Mask, /) -> NDArray[np.float64]:
    """(rows, cols) way in cells, within its area, from what is not narrow; 0 there, infinite where an area has none."""
    row, col = np.nonzero(narrow)
    return _steps_from_broad(kinds, np.where(narrow, np.inf, 0.0), row, col, MOST_SWEEPS)


@compiled
def _narrow_cells(kinds: Kinds, offsets: Numbers, starts: Numbers, beyond: int) -> Mask:
    rows, cols = kinds.shape
    narrow = np.zeros((rows, cols), np.bool_)
    for row in range(rows):
        for col in range(cols):
            kind = kinds[row, col]
            narrow[row, col] = kind >= 0 and starts[kind + 1] > starts[kind]
    # Discs that reach in from beyond the grid are laid as well.
    for row in range(-beyond, rows + beyond):
        for col in range(-beyond, cols + beyond):
            kind = kinds[min(max(row, 0), rows - 1), min(max(col, 0), cols - 1)]
            if kind < 0 or starts[kind + 1] == starts[kind]:
                continue
            fits = True
            for number in range(starts[kind], starts[kind + 1]):
                r = min(max(row + offsets[number, 0], 0), rows - 1)
                c = min(max(col + offsets[number, 1], 0), cols - 1)
                if kinds[r, c] != kind:
                    fits = False
                    break
            if not fits:
                continue
            for number in range(starts[kind], starts[kind + 1]):
                r, c = row + offsets[number, 0], col + offsets[number, 1]
                if 0 <= r < rows and 0 <= c < cols:
                    narrow[r, c] = False
    return narrow


@compiled
def _steps_from_broad(
    kinds: Kinds, away: NDArray[np.float64], row_of: Numbers, col_of: Numbers, most_sweeps: int
) -> NDArray[np.float64]:
    rows, cols = kinds.shape
    n = len(row_of)
    for sweep in range(most_sweeps):
        changed = False
        for place in range(n):
            # Forth and back, so that a way along many cells is found in few sweeps.
            at = place if sweep % 2 == 0 else n - 1 - place
            row, col = row_of[at], col_of[at]
            for i in range(-1, 2):
                for j in range(-1, 2):
                    r, c = row + i, col + j
                    if 0 <= r < rows and 0 <= c < cols and kinds[r, c] == kinds[row, col]:
                        step = away[r, c] + np.sqrt(i * i + j * j)
                        if step < away[row, col]:
                            away[row, col] = step
                            changed = True
        if not changed:
            break
    return away
