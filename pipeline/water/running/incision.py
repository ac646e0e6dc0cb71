"""How deep the ground is cut in: how much higher both sides stand than the bed between them."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Grid
from pipeline.lattice.larger_cells import highest_into

SIDE_M = 6.0
"""Distance in metres from the bed at which its sides are looked at, and at half of it for narrow channels. Greater ones
take valleys for channels, smaller ones miss what is wider. Our choice."""
SMOOTH_M = 20.0
"""Length of channel, in metres, over which its depth is judged, so that one culvert does not end a stream. Our
choice."""


def side_height(heights: NDArray[np.float64], cell_m: float, side_m: float, /) -> NDArray[np.float64]:
    """(rows, cols) metres that the lower side rises above each cell, in the direction in which that is most.

    Of four directions; a plane gives 0 or less whatever its slope, a V gives its depth. NaN beside the edge.
    """
    n = max(1, round(side_m / cell_m))
    diagonal = max(1, round(side_m / cell_m / math.sqrt(2)))
    padded = np.pad(heights, n, constant_values=np.nan)
    rows, cols = heights.shape

    def at(down: int, right: int) -> NDArray[np.float64]:
        return padded[n + down : n + down + rows, n + right : n + right + cols]

    rises = []
    for down, right in ((0, n), (n, 0), (diagonal, diagonal), (diagonal, -diagonal)):
        rises.append(np.minimum(at(down, right), at(-down, -right)) - heights)
    known = np.isfinite(np.array(rises))
    best = np.where(known, rises, -np.inf).max(axis=0)
    return np.where(known.any(axis=0), best, np.nan)


def channel_depth(smooth: NDArray[np.float64], grid: Grid, lattice: Grid, every: int, /) -> NDArray[np.float64]:
    """(rows, cols) metres: greatest height of the sides above the bed in the cells of `lattice`, `every` cells wide."""
    wide, narrow = (side_height(smooth, grid.cell_m, SIDE_M * share) for share in (1.0, 0.5))
    return highest_into(np.fmax(wide, narrow), grid, lattice, every)


def incised(depth: NDArray[np.float64], cell_m: float, /, *, min_depth_m: float) -> list[slice]:
    """Runs of a chain of cells whose sides stand high enough, judged over `SMOOTH_M`; at least 3 cells each."""
    size = max(3, 2 * round(SMOOTH_M / cell_m / 2) + 1)
    smooth = ndimage.median_filter(np.nan_to_num(depth, nan=0.0), size=size, mode="nearest")
    deep = np.concatenate([[False], smooth >= min_depth_m, [False]])
    starts, stops = np.flatnonzero(deep[1:] & ~deep[:-1]), np.flatnonzero(deep[:-1] & ~deep[1:])
    return [slice(a, b) for a, b in zip(starts.tolist(), stops.tolist(), strict=True) if b - a >= 3]
