"""Plant-area density of a layer from pulses: how much there is to push through, whatever stands above it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from pipeline.grid import Heights

Numbers = NDArray[np.floating]


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


def stopped_share(density: Numbers | float, /, *, layer_m: float, extinction: float) -> Numbers:
    """Share of the entering pulses that a layer of this density stops, 0..1: the way back from density."""
    return -np.expm1(-np.asarray(density, np.float64) * extinction * layer_m)


def normalised_relative_density(returns_in_layer: Numbers, returns_up_to_layer: Numbers, /) -> Heights:
    """NRD: returns within a height layer over all returns from the ground to the top of that layer, 0..1.

    Campbell et al. (2018, Remote Sensing of Environment 215: 330-342) count returns, not pulses; by leaving out
    what lies above, NRD too is free of most of the canopy's shade. NaN where no return came that low.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        share = returns_in_layer / returns_up_to_layer
    return np.where(returns_up_to_layer > 0, share, np.nan).astype(np.float32)


def effective_share(stopped: Numbers, entered: Numbers, /) -> Numbers:
    """Share of pulses stopped, 0..1; 0 where none entered."""
    return np.where(entered > 0, stopped / np.maximum(entered, 1e-9), 0.0)


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
