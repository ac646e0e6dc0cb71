"""Valleys that enter the survey at its rim, so that more water comes down them than gathers on ground it saw."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.windows import lowest_around
from pipeline.water.drainage.drainage import Drainage
from pipeline.water.running.incision import SIDE_M


def inflow(
    heights: NDArray[np.float64],
    depth: NDArray[np.float64],
    drainage: Drainage,
    cell_m: float,
    /,
    *,
    min_depth_m: float,
) -> NDArray[np.int64]:
    """Cells just inside the rim of the survey through which a valley enters it, as flat indices."""
    ground = np.isfinite(heights)
    rim = ground & (drainage.receiver.reshape(heights.shape) < 0)
    low = np.where(rim, heights, np.inf)
    is_lowest = rim & (low <= lowest_around(low, round(SIDE_M / cell_m)))
    valley = is_lowest & (np.nan_to_num(depth, nan=-1.0) >= min_depth_m)
    entered = [_lowest_inside(heights, drainage, at, round(SIDE_M / cell_m)) for at in np.flatnonzero(valley).tolist()]
    return np.array([at for at in entered if at >= 0], np.int64)


def _lowest_inside(heights: NDArray[np.float64], drainage: Drainage, at: int, reach: int) -> int:
    """The lowest cell within `reach` cells that leads further into the survey than that; -1 if there is none."""
    rows, cols = heights.shape
    row, col = divmod(at, cols)
    near = np.arange(max(0, row - reach), min(rows, row + reach + 1))[:, None] * cols + np.arange(
        max(0, col - reach), min(cols, col + reach + 1)
    )
    level = heights.ravel()
    for place in sorted(near.ravel().tolist(), key=lambda cell: (level[cell], cell)):
        if not level[place] < level[at]:
            return -1
        end = place
        for _ in range(2 * reach):
            end = int(drainage.receiver[end]) if end >= 0 else -1
        if end >= 0:
            return int(place)
    return -1
