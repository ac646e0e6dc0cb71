"""How well the lidar saw the ground of a landform: the first half of every confidence."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from pipeline.lattice.fill import fill_voids
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.means import Known, square_window


def ground_noise(bare_earth: Heights, grid: Grid, /, *, finest_m: float, reach_m: float) -> Heights:
    """Standard deviation of what is smaller than any landform: errors of the survey, brush and stones in the ground.

    Parameters
    ----------
    bare_earth : (rows, cols) float32, metres, something known in it
    finest_m : float
        Size from which shapes are no noise.
    reach_m : float
        Distance within which the noise is taken together.

    Returns
    -------
    (rows, cols) float32, metres; 0 where nothing is known around.
    """
    filled, unknown = fill_voids(bare_earth)
    # A hump of some size is half a wave; a Gaussian of a quarter of its size halves such waves.
    rest = np.abs(filled - ndimage.gaussian_filter(filled, finest_m / 4 / grid.cell_m, mode="nearest"))
    window = 2 * round(reach_m / grid.cell_m) + 1
    known = Known.of(~unknown, square_window(window, rim="constant"), dtype=np.float32)
    # sqrt(pi / 2) turns the mean of absolute values into a standard deviation (normal law).
    return np.asarray(np.sqrt(np.pi / 2) * known.mean(rest), np.float32)


def how_well_seen(
    ground_support: Heights,
    canopy_height: Heights,
    noise_m: Heights,
    /,
    *,
    half_noise_m: float,
    half_seen_gap_m: float,
    tall_canopy_m: float,
    canopy_share: float,
) -> Heights:
    """How far the bare earth can be trusted, 0 to 1, falling with the distance to the nearest ground return and noise.

    Under trees the ground filter itself is less sure; that takes away up to `canopy_share` where they are tall.

    Parameters
    ----------
    ground_support : (rows, cols) float32, metres to the nearest ground return; NaN counts as never seen
    canopy_height : (rows, cols) float32, metres; NaN counts as no trees
    noise_m : (rows, cols) float32, metres
        From `ground_noise`.
    half_noise_m : float
        Noise at which half the trust is gone.
    half_seen_gap_m : float
        Distance to the nearest ground return at which half the trust is gone.

    Returns
    -------
    (rows, cols) float32
    """
    gap = np.nan_to_num(ground_support, nan=np.inf) / np.float32(half_seen_gap_m)
    canopy = np.clip(np.nan_to_num(canopy_height) / np.float32(tall_canopy_m), 0, 1)
    noise = noise_m / np.float32(half_noise_m)
    trust: Heights = ((1 - np.float32(canopy_share) * canopy) / (1 + gap**2) / (1 + noise**2)).astype(np.float32)
    return trust
