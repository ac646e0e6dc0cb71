"""How far a bump or hollow is closed: how deep water would stand in a hollow, how far one must climb down off a top.

A nose of a slope and the brink of a niche bend the ground as a knoll and a pit do, and a fit of a rounded bump takes
them for such; but a contour runs around a knoll or pit only, unless it lies on a slope too steep for it.
"""

from __future__ import annotations

import heapq

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorth, Grid, Heights
from pipeline.lattice.larger_cells import coarsen

CLOSED_CELL_M = 1.0
"""Side of the cells whose mean heights are compared, in metres: less than the narrowest hollow, and so many that noise
and stray returns make no rim (our choice)."""
REACH_RADII = 2.0
"""Distance from the middle, in radii, at which a way off has left the bump: that of the window in which it is fitted
(our choice)."""
TOP_RADII = 0.6
"""Share of the radius within which the top is looked for, as `pipeline.landform.shapes.carried` has it (our choice)."""


def closed_m(
    places: EastNorth, radius_m: NDArray[np.float64], heights: Heights, grid: Grid, /, *, upward: bool
) -> NDArray[np.float64]:
    """(n,) metres of each bump that are closed: from its top to the highest way off.

    Of hollows, not `upward`, from the bottom to the lowest place where water would flow out. 0 where the bump is a bend
    of a slope; a way ends `REACH_RADII` from the middle, and where nothing is known.

    Parameters
    ----------
    places, radius_m : (n, 2) and (n,), metres
    heights : (rows, cols) metres, NaN where unknown

    Source
    ------
    The topographic prominence of mountaineers and the pour point of hydrology, within a window; flooding by a queue
    ordered by height as Barnes et al. (2014), doi:10.1016/j.cageo.2013.04.024.
    """
    level, cells = coarsen(heights, grid, cell_m=CLOSED_CELL_M)
    row, col = cells.row_col(places[:, 0], places[:, 1])
    reach = np.maximum(REACH_RADII * radius_m / cells.cell_m, 2.0)
    sign = 1.0 if upward else -1.0
    rows, cols = np.asarray(row, np.int64), np.asarray(col, np.int64)
    return _closed(sign * level.astype(np.float64), rows, cols, reach, reach * TOP_RADII / REACH_RADII)


@compiled
def _closed(
    level: NDArray[np.float64],
    rows: NDArray[np.int64],
    cols: NDArray[np.int64],
    reach: NDArray[np.float64],
    top_reach: NDArray[np.float64],
) -> NDArray[np.float64]:
    """(n,) height of the top near each cell above the highest way to beyond its reach."""
    n_rows, n_cols = level.shape
    closed = np.zeros(len(rows))
    for k in range(len(rows)):
        half = int(reach[k]) + 1
        top_row, top_col, top = -1, -1, -np.inf
        for row in range(max(rows[k] - half, 0), min(rows[k] + half + 1, n_rows)):
            for col in range(max(cols[k] - half, 0), min(cols[k] + half + 1, n_cols)):
                away = np.hypot(row - rows[k], col - cols[k])
                if away <= top_reach[k] and level[row, col] > top:
                    top_row, top_col, top = row, col, level[row, col]
        if top_row < 0:
            continue
        is_met = np.zeros((2 * half + 1, 2 * half + 1), np.bool_)
        is_met[top_row - rows[k] + half, top_col - cols[k] + half] = True
        queue = [(-top, top_row, top_col)]
        way_off = top
        while queue:
            lowered, row, col = heapq.heappop(queue)
            way_off = min(way_off, -lowered)
            if np.hypot(row - rows[k], col - cols[k]) > reach[k]:
                break
            is_out = False
            for down in range(-1, 2):
                for across in range(-1, 2):
                    r, c = row + down, col + across
                    if r < 0 or c < 0 or r >= n_rows or c >= n_cols or np.isnan(level[r, c]):
                        is_out = True
                        continue
                    at_row, at_col = r - rows[k] + half, c - cols[k] + half
                    if 0 <= at_row <= 2 * half and 0 <= at_col <= 2 * half and not is_met[at_row, at_col]:
                        is_met[at_row, at_col] = True
                        heapq.heappush(queue, (-level[r, c], r, c))
            if is_out:
                break
        closed[k] = top - way_off
    return closed
