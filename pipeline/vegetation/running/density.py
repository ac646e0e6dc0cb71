"""Plant-area density of a layer from pulses: how much there is to push through, whatever stands above it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Heights, Mask
from pipeline.lattice.means import gaussian_window

Numbers = NDArray[np.floating]

WIDEST_WINDOW_M = 6.0
"""Greatest sigma of the window pulses are counted in where few reach the layer: it takes in 450 m2, four times the
smallest 408. Wider, thickets would blur into their surroundings (our choice)."""
ENOUGH_PULSES = 40.0
"""A window widens until it holds this many pulses. The density then has a standard error of 0.1 m2/m3 at the limit of
408, which tells the bands apart (our choice)."""
LEAST_PULSES = 20.0
"""Where even the widest window holds fewer pulses, the layer is not seen and no band is drawn: the standard error would
be above 0.15 m2/m3 at the limit of 408 (our choice)."""

EXTINCTION_RATIO = 0.5
"""Share of a leaf's area that stands in a pulse's way, k of Beer and Lambert's law: 0.5 for leaves at random angles.
All densities go with its inverse, and so must the limits of the bands."""


MODEL_SPREAD_RATIO = 0.31
"""One sigma, as a share of the density that is measured, of what it is out by where plants do not stand as the model
has them: leaves that lie or stand, clumps, layers that thin out."""
LOW_SPREAD_RATIO = 0.47
"""One sigma, as a share of what is measured below eye height, of what more it is out by there: heather or fern may slow
a runner or not, and ground that is a decimetre wrong moves a carpet into the layer or out of it. Both are fitted on
areas of made forests by `tests/benchmarks/undergrowth_scenes.py`, and tried there on others; how common each way of
standing is in them is our choice."""


def plant_area_density(
    entered: Numbers, stopped: Numbers, /, *, layer_m: float, extinction: float, path_ratio: Numbers | float = 1.0
) -> Heights:
    """Plant area per volume of a layer, m2/m3; NaN where no pulse entered.

    Beer-Lambert, as MacArthur and Horn (1969) used it for foliage profiles: of N_in pulses that enter a layer,
    N_out leave it untouched, and density = ln(N_in / N_out) / (k dz). Half a pulse is added to either count, which
    keeps the answer finite where nothing came through and takes away most of its bias with few pulses
    (Anscombe 1956, for the logarithm of a count).

    Parameters
    ----------
    entered, stopped : counts of pulses, any shape
    layer_m : thickness dz of the layer
    extinction : k, 0.5 for leaves at random angles
    path_ratio : mean of 1 / cos of the scan angle: how much longer than the layer's thickness the path was

    Returns
    -------
    float32 of the same shape, never below 0.
    """
    through = np.maximum(entered - stopped, 0) + 0.5
    with np.errstate(divide="ignore", invalid="ignore"):
        density = np.log((entered + 0.5) / through) / (extinction * layer_m * path_ratio)
    return np.where(entered > 0, np.maximum(density, 0), np.nan).astype(np.float32)


def density_standard_error(
    entered: Numbers, stopped: Numbers, /, *, layer_m: float, extinction: float, path_ratio: Numbers | float = 1.0
) -> Heights:
    """Standard error (one sigma) of `plant_area_density` from the number of pulses alone, m2/m3.

    Pulses are independent trials, so the share p stopped has variance p (1 - p) / n, and by the delta method the
    density p / ((1 - p) n) over (k dz)^2. Half a pulse on either side keeps it above 0 where none was stopped.
    """
    hit = np.maximum(stopped, 0) + 0.5
    through = np.maximum(entered - stopped, 0) + 0.5
    with np.errstate(divide="ignore", invalid="ignore"):
        error = np.sqrt(hit / (through * (hit + through))) / (extinction * layer_m * path_ratio)
    return np.where(entered > 0, error, np.nan).astype(np.float32)


def model_error(density: Numbers, low: Numbers, /) -> Numbers:
    """One sigma of a density from how plants may stand and how high runners step, m2/m3, of the same shape.

    Parameters
    ----------
    density : of `plant_area_density`
    low : what of it stands below eye height, of `pipeline.vegetation.running.undergrowth.low_part`
    """
    both: Numbers = np.hypot(MODEL_SPREAD_RATIO * density, LOW_SPREAD_RATIO * low)
    return both


def with_model_error(density: Numbers, low: Numbers, error: Numbers, /) -> Heights:
    """Standard error of a density from the number of pulses and from `model_error`, m2/m3, of the same shape.

    Parameters
    ----------
    error : of `density_standard_error`
    """
    both: Heights = np.hypot(error, model_error(density, low)).astype(np.float32)
    return both


@dataclass(frozen=True)
class Counts:
    """Pulses counted together around each cell.

    Attributes
    ----------
    entered, stopped, path_sum : (rows, cols) float32
    is_seen : (rows, cols) bool
        Whether enough pulses reached the layer to say anything about it.
    """

    entered: Heights
    stopped: Heights
    path_sum: Heights
    is_seen: Mask


def count_in_windows(
    entered: Heights,
    stopped: Heights,
    path_sum: Heights,
    /,
    *,
    cell_m: float,
    window_m: float,
) -> Counts:
    """Pulses counted in a Gaussian window around each cell, wider where few reach the layer.

    A window of sigma s counts as many independent pulses as a disc of 4 pi s^2. Where the one of `window_m` holds fewer
    than ENOUGH_PULSES, what is missing is taken from windows twice as wide each, up to WIDEST_WINDOW_M, so that counts
    change smoothly from cell to cell. Where even that gives fewer than LEAST_PULSES, the layer is not seen. A cell
    reaches four times WIDEST_WINDOW_M around itself at most.

    Parameters
    ----------
    entered, stopped : (rows, cols) pulses that entered the layer, and those of them stopped in it
    path_sum : (rows, cols) sum over `entered` of the path through the layer, as a multiple of its thickness
    window_m : sigma of the narrowest window
    """
    grids = (entered, stopped, path_sum)
    sigma_m = min(window_m, WIDEST_WINDOW_M)
    total = _gaussian_counts(grids, sigma_m / cell_m)
    while sigma_m < WIDEST_WINDOW_M and (total[0] < ENOUGH_PULSES).any():
        sigma_m = min(2 * sigma_m, WIDEST_WINDOW_M)
        wider = _gaussian_counts(grids, sigma_m / cell_m)
        missing = np.maximum(ENOUGH_PULSES - total[0], 0)
        total += wider * np.minimum(missing / np.maximum(wider[0], 1e-6), 1)
    return Counts(total[0], total[1], total[2], total[0] >= LEAST_PULSES)


def _gaussian_counts(grids: tuple[Heights, ...], sigma_cells: float) -> NDArray[np.float32]:
    """Each grid summed in a Gaussian window, scaled to the window's effective number of cells."""
    effective_cells = max(4 * np.pi * sigma_cells**2, 1.0)
    # Nothing was counted outside the grid: zeros there leave every share unbiased.
    window = gaussian_window(sigma_cells, rim="constant")
    sums = [window(grid) for grid in grids]
    return np.stack(sums).astype(np.float32) * np.float32(effective_cells)


def layer_thickness_m(bottom_m: float, top_m: float, /) -> float:
    """Thickness of a layer.

    Raises
    ------
    ValueError
        If the layer is upside down.
    """
    thickness = top_m - bottom_m
    if not thickness > 0 or math.isinf(thickness):
        raise ValueError(f"the layer from {bottom_m} m to {top_m} m has no thickness")
    return thickness
