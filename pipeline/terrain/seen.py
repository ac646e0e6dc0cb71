"""How well the lidar saw the ground; the confidence in every landform is multiplied with it."""

from __future__ import annotations

import numpy as np

from pipeline.lattice.fill import fill_voids
from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.means import Known, square_window
from pipeline.lattice.reach import within_reach

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
    rest = np.abs(filled - gaussian(filled, FINEST_SHAPE_M / 4 / grid.cell_m, rim="nearest"))
    window = 2 * round(NOISE_REACH_M / grid.cell_m) + 1
    known = Known.of(~unknown, square_window(window, rim="constant"), dtype=np.float32)
    # sqrt(pi / 2) turns the mean of absolute values into a standard deviation (normal law).
    return np.asarray(np.sqrt(np.pi / 2) * known.mean(rest), np.float32)


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


BAY_M = 10.0
"""Radius in metres of a disc that, without a ground return in it, lies beyond the survey or in a hole of it: smaller
gaps are shadows of trees and count as surrounded (our choice)."""


def surrounded(ground_support: Heights, grid: Grid, /) -> Mask:
    """(rows, cols) bool: cells that ground returns surround; no shape is believed of the others.

    Beyond the last return the surface is a guess: the nearest height carried on in steps, or slivers of triangles along
    the rim, which look like grooves and cliffs. A cell counts as surrounded where no empty disc of `BAY_M` covers it (a
    morphological closing of the cells that hold a return; Serra 1982, Image Analysis and Mathematical Morphology).

    Parameters
    ----------
    ground_support : (rows, cols) float32, metres to the nearest ground return; NaN counts as never seen
    """
    wide = int(np.ceil(BAY_M / grid.cell_m)) + 1
    holds = np.pad(ground_support <= grid.cell_m, 2 * wide)
    near = within_reach(holds, reach_m=BAY_M, cell_m=grid.cell_m)
    beyond = within_reach(~near, reach_m=BAY_M, cell_m=grid.cell_m)
    inside: Mask = ~beyond[2 * wide : -2 * wide, 2 * wide : -2 * wide]
    return inside
