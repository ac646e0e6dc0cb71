"""Terrain that windows cut off: knolls, crests and banks, told from objects by gentle ways down to the ground.

A cell that was cut off but from which straight gentle ways lead to uncut ground in several directions is terrain; a
house or a crown is bounded by steps all round.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Mask
from pipeline.points.ground.lowest import Lowest

BRIDGED_M = 4.0
"""Holes without returns that are narrower than twice this, in metres, do not stop a gentle way. Our choice."""
WAY_FROM_M = 2.0
"""Radius in metres of the narrowest window whose cuts may be terrain after all: what still narrower windows cut off are
single plants. Our choice."""
WAY_M = 12.0
"""Length in metres of the longest gentle way: half the width of the widest crest that comes back. Our choice."""
WAY_STEP_M = 0.1
"""Difference in height, in metres, that a way may have between neighbouring returns whatever their distance: noise and
roughness. Our choice."""
WAY_SLOPE = 0.2
"""Difference in height that a way may have besides, for each metre between the returns: walls and plants are steeper.
Our choice."""
LEAST_WAYS = 2
"""In how many of 8 directions a gentle way must lead to the ground. At the edge of an object there is one. Our
choice."""

Number = TypeVar("Number", bound=np.generic)
Distances = TypeVar("Distances", np.float64, NDArray[np.float64])
NEIGHBOURS = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))


def gentle_step_m(distance_m: Distances, /) -> Distances:
    """Difference in height, in metres, up to which the way between two returns so far apart is gentle."""
    return WAY_STEP_M + WAY_SLOPE * distance_m


def is_gently_reached(lowest: Lowest, cut_at: NDArray[np.int16], /) -> Mask:
    """(rows, cols) bool: cut cells from which gentle straight ways lead to uncut ones in enough of 8 directions.

    Cells cut by the narrowest windows are no way: they are single plants more often than terrain.

    Parameters
    ----------
    cut_at : (rows, cols) int16
        Radius in cells of the window that cut the cell off; 0 where none did.
    """
    height, cut = _spread(lowest.height, cut_at, steps=round(BRIDGED_M / lowest.cell_m))
    is_home = np.isfinite(height) & (cut == 0)
    is_way = cut >= WAY_FROM_M / lowest.cell_m
    steps = round(WAY_M / lowest.cell_m)
    ways = np.zeros(height.shape, np.int8)
    for down, right in NEIGHBOURS:
        limit_m = gentle_step_m(lowest.cell_m * np.hypot(down, right))
        with np.errstate(invalid="ignore"):
            gentle = is_way & (np.abs(height - _shifted(height, down, right, np.inf)) <= limit_m)
        arrives = is_home
        for _ in range(steps):
            arrives = is_home | (gentle & _shifted(arrives, down, right, False))
        ways += arrives
    back: Mask = is_way & (ways >= LEAST_WAYS)
    return back


def _shifted(grid: NDArray[Number], down: int, right: int, outside: float) -> NDArray[Number]:
    """The grid moved so that each cell sees the one `down` and `right` of it."""
    return np.pad(grid, 1, constant_values=outside)[
        1 + down : 1 + down + grid.shape[0], 1 + right : 1 + right + grid.shape[1]
    ]


def _spread(
    height: NDArray[np.float64], cut_at: NDArray[np.int16], /, *, steps: int
) -> tuple[NDArray[np.float64], NDArray[np.int16]]:
    """Heights and cuts with small holes filled: the mean height and the widest cut of the known neighbours."""
    height, cut_at = height.copy(), cut_at.copy()
    for _ in range(steps):
        hole = ~np.isfinite(height)
        if not hole.any():
            break
        total, count, widest = np.zeros_like(height), np.zeros_like(height), np.zeros_like(cut_at)
        for down, right in NEIGHBOURS:
            near = _shifted(height, down, right, np.inf)
            known = np.isfinite(near)
            total[known] += near[known]
            count += known
            widest = np.maximum(widest, _shifted(cut_at, down, right, 0))
        fill = hole & (count > 0)
        height[fill] = total[fill] / count[fill]
        cut_at[fill] = widest[fill]
    return height, cut_at
