"""Reaches: chains of cells that water runs along, as smooth lines on the lowest ground."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString

from pipeline.lattice.grid import EastNorth, Grid, Heights
from pipeline.lattice.skeleton import rounded
from pipeline.water.running.drainage import Drainage

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
    chains = []
    for head in heads.tolist():
        chain, at, below = [head], head, int(receiver[head])
        while below >= 0 and wet[below]:
            chain.append(below)
            if main_donor[below] != at:
                break
            at, below = below, int(receiver[below])
        chains.append(np.asarray(chain, np.int64))
    return chains


def line_of(cells: NDArray[np.int64], bare_earth: Heights, grid: Grid, lattice: Grid, /) -> LineString:
    """The chain as a smooth line, each vertex first moved to the lowest ground within a coarse cell."""
    east, north = lattice.centres()
    row, col = np.divmod(cells, lattice.cols)
    places = np.column_stack([east[col], north[row]])
    snapped = _lowest_near(places, bare_earth, grid, lattice.cell_m)
    if len(snapped) < 2:
        return LineString()
    line = LineString(rounded(snapped)).simplify(TOLERANCE_M)
    return line if isinstance(line, LineString) else LineString()


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
