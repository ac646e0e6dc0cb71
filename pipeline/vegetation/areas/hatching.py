"""Slow and walk with a clear view (407, 409): where the area is large enough for its lines to be read as a hatching."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from pipeline.lattice.grid import Mask
from pipeline.lattice.means import gaussian_window
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom
from pipeline.vegetation.areas.kinds import AREA_SYMBOLS, NOT_SEEN, OUTSIDE, cells_of
from pipeline.vegetation.areas.merging import Kinds

CLEAR, HIDDEN = ("405", "407", "409"), ("406", "408", "410")
VIEW_WINDOW_M = 4.0
"""Sigma in metres within which the view is judged: three tenths of the distance between two lines of 407, as nothing
smaller can be hatched (our choice)."""
HATCHED = {"406": "407", "408": "409"}
"""The symbol that says of ground as slow that one sees through it."""
LEAST_LINES = 3
"""Lines that an area of 407 or 409 shows at least, wherever they fall: two stray ones look like north lines (our
choice)."""
LEAST_LINE_MM = 1.0
"""Shortest of these lines, as long as the least 407 and 409 are high; a shorter one is a tick (our choice)."""

PLAIN_OF, HATCHED_OF = (np.append(np.arange(NOT_SEEN + 1), OUTSIDE).astype(np.int16) for _ in range(2))
"""The kind of equal speed without and with a clear view, by kind; other kinds stay what they are."""
for _plain, _hatched in HATCHED.items():
    PLAIN_OF[AREA_SYMBOLS.index(_hatched)] = AREA_SYMBOLS.index(_plain)
    HATCHED_OF[AREA_SYMBOLS.index(_plain)] = AREA_SYMBOLS.index(_hatched)


def has_clear_view(kinds: Kinds, /, *, cell_m: float) -> Mask:
    """Cells around which one sees through most of the forest: 405, 407 and 409 against 406, 408 and 410.

    Cells are weighed by a bell of VIEW_WINDOW_M.
    """
    window = gaussian_window(VIEW_WINDOW_M / cell_m, rim="constant")
    clear, hidden = (window(cells_of(kinds, group).astype(np.float32)) for group in (CLEAR, HIDDEN))
    return np.asarray(clear > hidden)


def without_stray_lines(kinds: Kinds, /, *, cell_m: float) -> Kinds:
    """Kinds with areas of 407 and 409 that would show fewer than LEAST_LINES lines drawn as 406 and 408."""
    found = kinds.copy()
    for hatched in HATCHED.values():
        is_hatched = kinds == AREA_SYMBOLS.index(hatched)
        width_m = LEAST_LINES * ground_m(isom(hatched).mm("spacing_mm"))
        shows = _shows_lines(is_hatched, width_m=width_m, line_m=ground_m(LEAST_LINE_MM), cell_m=cell_m)
        stray = is_hatched & ~shows
        found[stray] = PLAIN_OF[kinds[stray]]
    return found


def _shows_lines(cells: Mask, /, *, width_m: float, line_m: float, cell_m: float) -> Mask:
    """Cells of the connected areas that have north-south stretches of `line_m` over so much of their width."""
    area, n_areas = ndimage.label(cells)
    tall = max(1, round(line_m / cell_m))
    # As long as the stretch, a column of cells is kept wherever it fits in.
    fits = ndimage.binary_opening(cells, np.ones((tall, 1), np.bool_))
    row, col = np.nonzero(fits)
    columns = np.unique(area[row, col].astype(np.int64) * cells.shape[1] + col) // cells.shape[1]
    wide = np.bincount(columns, minlength=n_areas + 1) * cell_m >= width_m
    wide[0] = False
    shows: Mask = wide[area]
    return shows
