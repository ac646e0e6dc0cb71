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
from scipy import ndimage

from pipeline.lattice.filters.rims import Rim
from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.lattice.per_cell import count_in_cells, sum_in_cells
from pipeline.lattice.sampling import bilinear
from pipeline.points.ground.lowest import Lowest
from pipeline.points.ground.strays import lacks_company
from pipeline.returns.triangulation import cell_means, heights_at_nodes

Cells = NDArray[np.float64]

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
class _Growth:
    """Noise of the ground, share of low growth and height up to which a return is ground, (rows, cols) each."""

    noise_m: Cells
    share: Cells
    limit_m: Cells


def among_growth(enh: EastNorthHeight, lowest: Lowest, level: Cells, /) -> Mask:
    """(n,) bool: returns of the ground among returns not far above it.

    Parameters
    ----------
    enh : (n, 3) float64, metres
        Returns that may be ground: none far below the surface, and up to `LOW_GROWTH_M` and more above it.
    lowest : Lowest
        For the place of the cells.
    level : (rows, cols) float64, metres
        Surface of the lowest returns at the centres of the cells.
    """
    shape = level.shape
    across = enh[:, 1] / lowest.cell_m - lowest.first_row - 0.5, enh[:, 0] / lowest.cell_m - lowest.first_col - 0.5
    cell = np.floor(across[0] + 0.5).astype(np.int64) * shape[1] + np.floor(across[1] + 0.5).astype(np.int64)
    above = above_lowest = enh[:, 2] - bilinear(level, *across)
    is_ground: Mask = (above < FIRST_M) & (above > -DEEP_M)
    share = np.zeros(shape)
    for turn in range(ROUNDS):
        if turn < ROUNDS - 1:
            level = level + _mean_around(above, is_ground, cell, shape, sigma=SMOOTH_M / lowest.cell_m)
        else:
            level = _surface(enh[is_ground], lowest, shape)
        above = enh[:, 2] - bilinear(level, *across)
        growth = _measured(above, cell, level, share, lowest.cell_m)
        share = growth.share
        is_ground = above <= bilinear(growth.limit_m, *across)
    noise_m = growth.noise_m.ravel()[cell]
    return is_ground & ~lacks_company(enh, -above_lowest, above_lowest < -BELOW_NOISE * noise_m)


def _measured(above: Cells, cell: NDArray[np.int64], level: Cells, share: Cells, cell_m: float, /) -> _Growth:
    """Noise, growth and limit from the heights of returns above the surface, and the growth measured before."""
    noise_m = _noise(above, cell, share, cell_m)
    noise_m = np.hypot(noise_m, STEEPER_M * _steeper(level, cell_m))
    noise_of_return = noise_m.ravel()[cell]
    is_low = above < np.maximum(LOW_GROWTH_M, 5 * noise_of_return)
    is_higher = is_low & (above > ABOVE_NOISE * noise_of_return)
    is_deeper = above < -ABOVE_NOISE * noise_of_return
    sigma = GROWTH_SIGMA_M / cell_m
    higher, deeper, low = (_bell(count_in_cells(cell[x], level.shape), sigma) for x in (is_higher, is_deeper, is_low))
    # As many as lie below the noise, where nothing grows, lie above it because the surface does not fit.
    growth = np.maximum(higher - deeper, 0)
    share = np.clip((HIDDEN_SHARE * growth + 0.02) / (low + 1) - ROUGH_SHARE, 0.003, 0.95)
    return _Growth(noise_m, share, noise_m * _noises_above(noise_m, share))


def _noises_above(noise_m: Cells, share: Cells, /) -> Cells:
    """(rows, cols) how many times the noise above the surface ground and growth are equally likely.

    Ground is spread about the surface by the normal law, growth evenly over the height near the ground.
    """
    likelier = (1 - share) / (share * GROWTH_PER_M * noise_m * math.sqrt(2 * math.pi))
    return np.asarray(np.clip(np.sqrt(2 * np.log(np.maximum(likelier, 1))), LEAST_NOISES, MOST_NOISES))


def _noise(above: Cells, cell: NDArray[np.int64], share: Cells, cell_m: float, /) -> Cells:
    """(rows, cols) metres, standard deviation of the ground about the surface, from what lies below it."""
    below = (above < 0) & (above > -DEEP_M)
    weight = (1 - share) ** BARE_POWER + 1e-3
    sigma = NOISE_SIGMA_M / cell_m
    count = _bell(weight * count_in_cells(cell[below], share.shape), sigma)
    depth = _bell(weight * sum_in_cells(cell[below], -above[below], share.shape), sigma)
    # sqrt(pi / 2) turns the mean of absolute values into a standard deviation (normal law).
    return np.asarray(np.maximum(math.sqrt(np.pi / 2) * depth / np.maximum(count, 1e-6), LEAST_NOISE_M))


def _steeper(level: Cells, cell_m: float, /) -> Cells:
    """(rows, cols) rise over run beyond that of the ground around; 0 where it is less steep."""
    if min(level.shape) < 2:
        return np.zeros_like(level)
    slope = np.hypot(*np.gradient(_bell(level, 1 / cell_m, rim="nearest"), cell_m))
    return np.asarray(np.maximum(slope - _bell(slope, NOISE_SIGMA_M / cell_m, rim="nearest"), 0))


def _mean_around(values: Cells, which: Mask, cell: NDArray[np.int64], shape: tuple[int, ...], *, sigma: float) -> Cells:
    """(rows, cols) mean of the chosen values around each cell, 0 where there is none."""
    total = _bell(sum_in_cells(cell[which], values[which], shape), sigma)
    return total / np.maximum(_bell(count_in_cells(cell[which], shape), sigma), 1e-3)


def _bell(values: NDArray[np.generic], sigma: float, /, *, rim: Rim = "constant") -> Cells:
    return np.asarray(ndimage.gaussian_filter(values.astype(np.float64), sigma, mode=rim, truncate=2.5))


def _surface(ground: EastNorthHeight, lowest: Lowest, shape: tuple[int, ...], /) -> Cells:
    """(rows, cols) height of the triangulated means of the ground returns of each cell, at the cells' centres."""
    nodes = cell_means(ground, cell_m=lowest.cell_m)
    east = (lowest.first_col + np.arange(shape[1], dtype=np.float64) + 0.5) * lowest.cell_m
    north = (lowest.first_row + np.arange(shape[0], dtype=np.float64) + 0.5) * lowest.cell_m
    return heights_at_nodes(nodes, east, north)
