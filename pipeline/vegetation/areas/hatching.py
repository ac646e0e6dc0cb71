"""Slow and walk with a clear view (407, 409): where the area is large enough for its lines to be read as a hatching."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from pipeline.lattice.grid import Mask
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom
from pipeline.vegetation.areas.kinds import AREA_SYMBOLS
from pipeline.vegetation.areas.merging import Kinds

PLAIN_OF = {"407": "406", "409": "408"}
"""The symbol for ground as slow through which one does not see."""
LEAST_LINES = 2
"""Lines that an area of 407 or 409 shows at least, wherever they fall: a single one looks like a north line (our
choice)."""
LEAST_LINE_MM = 1.0
"""Shortest of these lines on paper, as long as the least 407 and 409 are high; a shorter one is a tick (our choice)."""


def without_stray_lines(kinds: Kinds, /, *, cell_m: float) -> Kinds:
    """Kinds with areas of 407 and 409 that would show fewer than LEAST_LINES lines drawn as 406 and 408."""
    found = kinds.copy()
    for hatched, plain in PLAIN_OF.items():
        cells = kinds == AREA_SYMBOLS.index(hatched)
        width_m = LEAST_LINES * ground_m(isom(hatched).mm("spacing_mm"))
        shows = _shows_lines(cells, width_m=width_m, line_m=ground_m(LEAST_LINE_MM), cell_m=cell_m)
        found[cells & ~shows] = AREA_SYMBOLS.index(plain)
    return found


def _shows_lines(cells: Mask, /, *, width_m: float, line_m: float, cell_m: float) -> Mask:
    """Cells of the connected areas that reach `line_m` from north to south over so much of their width."""
    area, n_areas = ndimage.label(cells)
    tall = max(1, round(line_m / cell_m))
    row, col = np.nonzero(ndimage.binary_opening(cells, np.ones((tall, 1), np.bool_)))
    columns = np.unique(area[row, col].astype(np.int64) * cells.shape[1] + col) // cells.shape[1]
    is_wide = np.bincount(columns, minlength=n_areas + 1) * cell_m >= width_m
    shows: Mask = is_wide[area] & cells
    return shows
