"""How well the lidar saw the ground; the confidence in every landform is multiplied with it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.landform.contours.generalise import fill_voids
from pipeline.lattice.grid import EastNorth, Grid, Heights

FINEST_SHAPE_M = 4.0
"""Width from which a shape of the ground is no noise: about the smallest bend a contour can show (our choice)."""
NOISE_REACH_M = 10.0
"""Distance within which the noise is taken together: the size of a knoll (our choice)."""


def ground_noise(bare_earth: Heights, grid: Grid, /) -> Heights:
    """Standard deviation of what is smaller than any landform: errors of the survey, brush and stones in the ground.

    Parameters
    ----------
    bare_earth : (rows, cols) float32, metres, something known in it

    Returns
    -------
    (rows, cols) float32, metres; 0 where nothing is known around.
    """
    filled, unknown = fill_voids(bare_earth)
    # A hump of some size is half a wave; a Gaussian of a quarter of its size halves such waves.
    rest = np.abs(filled - ndimage.gaussian_filter(filled, FINEST_SHAPE_M / 4 / grid.cell_m, mode="nearest"))
    window = 2 * round(NOISE_REACH_M / grid.cell_m) + 1
    known = (~unknown).astype(np.float32)
    total, share = (ndimage.uniform_filter(values, window, mode="constant") for values in (rest * known, known))
    # sqrt(pi / 2) turns the mean of absolute values into a standard deviation (normal law).
    noise: Heights = (np.sqrt(np.pi / 2) * total / np.maximum(share, 1e-6)).astype(np.float32)
    return noise


HALF_SEEN_GAP_M = 4.0
"""Distance to the nearest ground return at which half the trust in the ground is gone: about the smallest bend a
contour can show. This and the three figures below are our choice; none was measured against mapped ground."""
HALF_NOISE_M = 0.5
"""Noise of the bare earth at which half the trust is gone: half the height of the lowest knoll."""
CANOPY_SHARE = 0.1
"""Share of the trust that is lost under tall trees, where the ground filter itself is less sure."""
TALL_CANOPY_M = 20.0
"""Height from which trees take away that whole share; lower ones take less."""


def how_well_seen(ground_support: Heights, canopy_height: Heights, noise_m: Heights, /) -> Heights:
    """How far the bare earth can be trusted, 0 to 1: less far from ground returns, where it is noisy, and under trees.

    Parameters
    ----------
    ground_support : (rows, cols) float32, metres to the nearest ground return; NaN counts as never seen
    canopy_height : (rows, cols) float32, metres; NaN counts as no trees
    noise_m : (rows, cols) float32, metres
        From `ground_noise`.

    Returns
    -------
    (rows, cols) float32
    """
    gap = np.nan_to_num(ground_support, nan=np.inf) / np.float32(HALF_SEEN_GAP_M)
    canopy = np.clip(np.nan_to_num(canopy_height) / np.float32(TALL_CANOPY_M), 0, 1)
    noise = noise_m / np.float32(HALF_NOISE_M)
    trust: Heights = ((1 - np.float32(CANOPY_SHARE) * canopy) / (1 + gap**2) / (1 + noise**2)).astype(np.float32)
    return trust


def sample(heights: Heights, grid: Grid, places: EastNorth, /) -> NDArray[np.float64]:
    """(n,) value of the cell each place lies in; NaN outside the grid."""
    index = grid.cell_index(places[:, 0], places[:, 1])
    return np.where(index >= 0, heights.ravel()[index], np.nan).astype(np.float64)


def mean_along(heights: Heights, grid: Grid, lines: list[EastNorth], /) -> NDArray[np.float64]:
    """(n,) mean over the vertices of each line; 0 for lines that lie outside or on nothing known."""
    if not lines:
        return np.empty(0)
    values = sample(heights, grid, np.concatenate(lines))
    of_line = np.repeat(np.arange(len(lines)), [len(line) for line in lines])
    known = np.isfinite(values)
    total = np.bincount(of_line[known], values[known], minlength=len(lines))
    count = np.bincount(of_line[known], minlength=len(lines))
    return np.divide(total, count, out=np.zeros(len(lines)), where=count > 0)
