"""Ground told from low growth, return by return: heather and fern reach down into the noise of the ground.

What lies below the surface is noise alone, since nothing grows below it; it tells how far returns of bare ground lie
above the surface as well. Where more lie higher than that, something grows. A return is ground up to the height where
ground and growth are equally likely: with nothing growing, all that is near; in a carpet, the lower half of the noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.filters.rims import Rim
from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.lattice.sampling import blended
from pipeline.points.ground.lowest import Lowest, taken
from pipeline.points.ground.strays import lacks_company
from pipeline.returns.triangulation import cell_means, heights_at_nodes

Cells = NDArray[np.float64]
Numbers = NDArray[np.int64]

FIRST_M = 0.2
"""Metres above the surface of the lowest returns up to which returns are taken for ground at first. Our choice."""
DEEP_M = 0.6
"""Metres below the surface beyond which a return says nothing of the noise. Our choice."""
LOW_GROWTH_M = 0.7
"""Height in metres up to which returns are counted as low growth. What is higher hides the ground, but is not mistaken
for it. Our choice."""
ROUNDS = 3
"""How often the surface is drawn through what was ground the time before. Our choice."""
SMOOTH_M = 0.8
"""Standard deviation, in metres, of the bell in which the surface is moved to the mean of its returns: it evens out the
noise of the lowest returns and keeps bends of 2 m. Our choice."""
NOISE_SIGMA_M = 10.0
"""Standard deviation, in metres, of the bell in which the noise is measured: wide enough to reach out of most carpets,
in which it cannot be measured. Our choice."""
LEAST_NOISE_M = 0.03
"""Least noise in metres: what airborne scanners do not go below. Our choice."""
BARE_POWER = 4
"""How much more bare places count for the noise: the share of ground there, to this power. Our choice."""
STEEPER_M = 0.2
"""Metres that the noise grows by for each metre of rise over run beyond that of the ground around: on banks and edges
errors of place and the width of triangles are errors of height. Fitted on the scenes hard_moraine and hard_farmland."""
GROWTH_SIGMA_M = 2.5
"""Standard deviation, in metres, of the bell in which growth is counted: the size of a patch of heather. Our choice."""
ABOVE_NOISE = 2.5
"""How many times the noise above the surface a return is growth for certain. Our choice."""
BELOW_NOISE = 4.0
"""How many times the noise below the surface of the lowest returns a return must have company. Our choice."""
HIDDEN_SHARE = 1.2
"""Returns of growth for each that is seen above the noise: the rest lies in the noise. Our choice."""
ROUGH_SHARE = 0.08
"""Share of the returns of bare ground that lie above its noise, by roughness and stones. Fitted on the scenes
hard_moraine and hard_farmland and the relief of relief_3506_4."""
GROWTH_PER_M = 3.5
"""Share of low growth in a metre of height near the ground. Fitted on the same."""
MOST_NOISES = 3.5
"""Most times the noise above the surface that a return may lie, where nothing grows. Our choice."""
LEAST_NOISES = 0.7
"""Fewest, in the densest carpet: some of its returns are ground, and the lowest of them most likely. Our choice."""


@dataclass(frozen=True)
class _Returns:
    """Row and column with parts of cells, number of the cell, and height in metres of each return, (n,) each."""

    row: Cells
    col: Cells
    cell: Numbers
    height: Cells


@dataclass(frozen=True)
class _Growth:
    """Noise of the ground, share of low growth and height up to which a return is ground, (rows, cols) each."""

    noise_m: Cells
    share: Cells
    limit_m: Cells


def among_growth(enh: EastNorthHeight, lowest: Lowest, level: Cells, above_lowest: Cells, /) -> Mask:
    """(n,) bool: returns of the ground among returns not far above it.

    Parameters
    ----------
    enh : (n, 3) float64, metres
        Returns that may be ground: none far below the surface, and up to `LOW_GROWTH_M` and more above it.
    lowest : Lowest
        For the place of the cells.
    level : (rows, cols) float64, metres
        Surface of the lowest returns at the centres of the cells.
    above_lowest : (n,) float64, metres
        Height of the returns above that surface.
    """
    returns = _Returns(*_places(enh, lowest.first_row, lowest.first_col, lowest.cell_m, level.shape[1]), enh[:, 2])
    # Each pass over the returns is one compiled loop: with whole arrays they take four times as long.
    above = above_lowest
    is_ground: Mask = (above < FIRST_M) & (above > -DEEP_M)
    share = np.zeros(level.shape)
    for turn in range(ROUNDS):
        if turn < ROUNDS - 1:
            level = level + _mean_around(above, is_ground, returns.cell, level.shape, sigma=SMOOTH_M / lowest.cell_m)
        else:
            level = _surface(taken(enh, np.flatnonzero(is_ground)), lowest, level.shape)
        above, growth = _measured(returns, level, share, lowest.cell_m)
        share = growth.share
        is_ground = _lies_below(above, growth.limit_m, returns.row, returns.col)
    is_deep = _lies_deeper(above_lowest, BELOW_NOISE * growth.noise_m.ravel(), returns.cell)
    return is_ground & ~lacks_company(enh, -above_lowest, is_deep)


def _measured(returns: _Returns, level: Cells, share: Cells, cell_m: float, /) -> tuple[Cells, _Growth]:
    """(n,) metres above the surface, and noise, growth and limit from these and the growth measured before."""
    above, n_below, depth_m = _heights_above(returns.height, returns.row, returns.col, returns.cell, level)
    noise_m = np.hypot(_noise(n_below, depth_m, share, cell_m), STEEPER_M * _steeper(level, cell_m))
    highest_m = np.maximum(LOW_GROWTH_M, 5 * noise_m)
    counts = _counts(above, returns.cell, highest_m, ABOVE_NOISE * noise_m)
    higher, deeper, low = (_bell(count, GROWTH_SIGMA_M / cell_m) for count in counts)
    # As many as lie below the noise, where nothing grows, lie above it because the surface does not fit.
    growth = np.maximum(higher - deeper, 0)
    share = np.clip((HIDDEN_SHARE * growth + 0.02) / (low + 1) - ROUGH_SHARE, 0.003, 0.95)
    return above, _Growth(noise_m, share, noise_m * _noises_above(noise_m, share))


def _noises_above(noise_m: Cells, share: Cells, /) -> Cells:
    """(rows, cols) how many times the noise above the surface ground and growth are equally likely.

    Ground is spread about the surface by the normal law, growth evenly over the height near the ground.
    """
    likelier = (1 - share) / (share * GROWTH_PER_M * noise_m * math.sqrt(2 * math.pi))
    return np.asarray(np.clip(np.sqrt(2 * np.log(np.maximum(likelier, 1))), LEAST_NOISES, MOST_NOISES))


def _noise(n_below: Cells, depth_m: Cells, share: Cells, cell_m: float, /) -> Cells:
    """(rows, cols) metres, standard deviation of the ground about the surface, from what lies below it.

    Number and summed depth of the returns below the surface are those of each cell.
    """
    weight = (1 - share) ** BARE_POWER + 1e-3
    sigma = NOISE_SIGMA_M / cell_m
    count, depth = _bell(weight * n_below, sigma), _bell(weight * depth_m, sigma)
    # sqrt(pi / 2) turns the mean of absolute values into a standard deviation (normal law).
    return np.asarray(np.maximum(math.sqrt(np.pi / 2) * depth / np.maximum(count, 1e-6), LEAST_NOISE_M))


def _steeper(level: Cells, cell_m: float, /) -> Cells:
    """(rows, cols) rise over run beyond that of the ground around; 0 where it is less steep."""
    if min(level.shape) < 2:
        return np.zeros_like(level)
    slope = np.hypot(*np.gradient(_bell(level, 1 / cell_m, rim="nearest"), cell_m))
    return np.asarray(np.maximum(slope - _bell(slope, NOISE_SIGMA_M / cell_m, rim="nearest"), 0))


def _mean_around(values: Cells, which: Mask, cell: Numbers, shape: tuple[int, ...], *, sigma: float) -> Cells:
    """(rows, cols) mean of the chosen values around each cell, 0 where there is none."""
    total, count = np.zeros(shape), np.zeros(shape)
    _sum_up(values, which, cell, total.ravel(), count.ravel())
    return _bell(total, sigma) / np.maximum(_bell(count, sigma), 1e-3)


def _bell(values: Cells, sigma: float, /, *, rim: Rim = "constant") -> Cells:
    return gaussian(values, sigma, rim=rim, truncate=2.5)


def _surface(ground: EastNorthHeight, lowest: Lowest, shape: tuple[int, ...], /) -> Cells:
    """(rows, cols) height of the triangulated means of the ground returns of each cell, at the cells' centres."""
    nodes = cell_means(ground, cell_m=lowest.cell_m)
    east = (lowest.first_col + np.arange(shape[1], dtype=np.float64) + 0.5) * lowest.cell_m
    north = (lowest.first_row + np.arange(shape[0], dtype=np.float64) + 0.5) * lowest.cell_m
    return heights_at_nodes(nodes, east, north)


@compiled
def _places(
    enh: EastNorthHeight, first_row: int, first_col: int, cell_m: float, cols: int
) -> tuple[Cells, Cells, Numbers]:
    """Row and column of each return with parts of cells, whole at the centres of cells, and the number of its cell."""
    row, col, cell = np.empty(len(enh)), np.empty(len(enh)), np.empty(len(enh), np.int64)
    for i in range(len(enh)):
        row[i], col[i] = enh[i, 1] / cell_m - first_row - 0.5, enh[i, 0] / cell_m - first_col - 0.5
        cell[i] = math.floor(row[i] + 0.5) * cols + math.floor(col[i] + 0.5)
    return row, col, cell


@compiled
def _sum_up(values: Cells, which: Mask, cell: Numbers, total: Cells, count: Cells) -> None:
    """Add up the chosen values in each cell, in the order of the returns, and count them."""
    for i in range(len(values)):
        if which[i]:
            total[cell[i]] += values[i]
            count[cell[i]] += 1


@compiled
def _heights_above(height: Cells, row: Cells, col: Cells, cell: Numbers, level: Cells) -> tuple[Cells, Cells, Cells]:
    """(n,) metres above the surface, and (rows, cols) twice: number and summed depth of what lies not far below it."""
    above, n_below, depth_m = np.empty(len(height)), np.zeros(level.shape), np.zeros(level.shape)
    n_in, depth_in = n_below.ravel(), depth_m.ravel()
    for i in range(len(height)):
        # Returns lie some cells within the rim (`lowest.RIM_CELLS`).
        low, left = int(row[i]), int(col[i])
        four = level[low, left], level[low, left + 1], level[low + 1, left], level[low + 1, left + 1]
        above[i] = height[i] - blended(four, row[i] - low, col[i] - left)
        if -DEEP_M < above[i] < 0:
            n_in[cell[i]] += 1
            depth_in[cell[i]] -= above[i]
    return above, n_below, depth_m


@compiled
def _counts(above: Cells, cell: Numbers, highest_m: Cells, noise_to_m: Cells) -> tuple[Cells, Cells, Cells]:
    """(rows, cols) returns of growth, as far below the noise, and below the highest that counts as low."""
    higher, deeper, low = np.zeros(highest_m.shape), np.zeros(highest_m.shape), np.zeros(highest_m.shape)
    higher_in, deeper_in, low_in = higher.ravel(), deeper.ravel(), low.ravel()
    highest_of, noise_of = highest_m.ravel(), noise_to_m.ravel()
    for i in range(len(above)):
        at = cell[i]
        is_low = above[i] < highest_of[at]
        low_in[at] += is_low
        higher_in[at] += is_low and above[i] > noise_of[at]
        deeper_in[at] += above[i] < -noise_of[at]
    return higher, deeper, low


@compiled
def _lies_below(above: Cells, limit_m: Cells, row: Cells, col: Cells) -> Mask:
    """(n,) bool: returns no higher above the surface than the limit there."""
    below = np.empty(len(above), np.bool_)
    for i in range(len(above)):
        low, left = int(row[i]), int(col[i])
        four = limit_m[low, left], limit_m[low, left + 1], limit_m[low + 1, left], limit_m[low + 1, left + 1]
        below[i] = above[i] <= blended(four, row[i] - low, col[i] - left)
    return below


@compiled
def _lies_deeper(above: Cells, depth_of_cell: Cells, cell: Numbers) -> Mask:
    """(n,) bool: returns below the surface by more than the depth of their cell."""
    deeper = np.empty(len(above), np.bool_)
    for i in range(len(above)):
        deeper[i] = above[i] < -depth_of_cell[cell[i]]
    return deeper
