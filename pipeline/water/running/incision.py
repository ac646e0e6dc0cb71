"""How deep the ground is cut in: how much higher both sides stand than the bed between them."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import highest_into, lowest_into
from pipeline.lattice.means import Known, gaussian_window
from pipeline.water.running.along import filtered_along, runs_along
from pipeline.water.sight.ground import SQUARE_CELLS, Read, small_window, squares

SIDE_M = 6.0
"""Distance in metres from the bed at which its sides are looked at, and at half of it for narrow channels. Greater ones
take valleys for channels, smaller ones miss what is wider. Our choice."""
NOISE_SIGMA_M = 0.75
"""Standard deviation, in metres, of the gaussian window with which the bare earth is smoothed before channels are
looked for. Our choice."""
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

    best = np.full(heights.shape, np.nan)
    for down, right in ((0, n), (n, 0), (diagonal, diagonal), (diagonal, -diagonal)):
        lower = np.minimum(at(down, right), at(-down, -right))
        np.fmax(best, lower - heights, out=best)
    return best


def beds(bare_earth: Read, grid: Grid, lattice: Grid, every: int, /) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The lowest ground of each cell of `lattice`, `every` cells wide, and how much higher the sides of a bed stand.

    The lowest keeps a channel connected that is narrower than the cell. Worked out square by square, each with a
    margin as wide as the smoothing and the sides reach, so that squares change nothing.

    Returns
    -------
    Both (rows, cols) metres; NaN where nothing is known.
    """
    sigma_cells = NOISE_SIGMA_M / grid.cell_m
    margin = math.ceil(4 * sigma_cells) + round(SIDE_M / grid.cell_m) + 2
    lowest, depth = np.full(lattice.shape, np.nan), np.full(lattice.shape, np.nan)
    for square in squares(lattice, side_cells=max(1, SQUARE_CELLS // every)):
        window = small_window(lattice, grid, every, square, margin_cells=margin)
        core = small_window(lattice, grid, every, square)
        part, larger = grid.part(core), lattice.part(square)
        inside = tuple(slice(c.start - w.start, c.stop - w.start) for c, w in zip(core, window, strict=True))
        smooth = smoothed(bare_earth(window), sigma_cells)
        rise = np.fmax(*(side_height(smooth, grid.cell_m, SIDE_M * share) for share in (1.0, 0.5)))
        lowest[square] = lowest_into(smooth[inside], part, larger, every)
        depth[square] = highest_into(rise[inside], part, larger, every)
    return lowest, depth


def smoothed(heights: Heights, sigma_cells: float) -> NDArray[np.float64]:
    """Gaussian mean of the known heights around each known cell; NaN stays NaN."""
    known = Known.of(np.isfinite(heights), gaussian_window(sigma_cells, rim="reflect"))
    return np.where(known.cells, known.mean(heights.astype(np.float64), least_share=1e-9), np.nan)


def incised(
    depth: NDArray[np.float64], chains: Sequence[NDArray[np.int64]], cell_m: float, /, *, min_depth_m: float
) -> list[NDArray[np.int64]]:
    """The runs of chains of cells whose sides stand high enough, judged over `SMOOTH_M`; at least 3 cells each.

    Parameters
    ----------
    depth : (n,) of all cells, metres
    """
    if not chains:
        return []
    size = max(3, 2 * round(SMOOTH_M / cell_m / 2) + 1)
    cells, lengths = np.concatenate(chains), np.array([len(chain) for chain in chains])
    smooth = filtered_along(
        np.nan_to_num(depth[cells], nan=0.0),
        lengths,
        size // 2,
        lambda along: ndimage.median_filter(along, size=size, mode="nearest"),
    )
    starts, stops = runs_along(smooth >= min_depth_m, lengths)
    return [cells[a:b] for a, b in zip(starts.tolist(), stops.tolist(), strict=True) if b - a >= 3]
