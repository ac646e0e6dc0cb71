"""Limits of the bands fitted to notes: an ordinal regression that starts from the limits in use."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit

from pipeline.vegetation.calibration.notes import Bands, Numbers
from pipeline.vegetation.running.runnability import DENSITY_SPREAD_RATIO, Limits

COMMON_SPREAD_RATIO = 0.5
"""How far season, sensor and habit are expected to shift all limits together: one sigma of a factor's logarithm, 0.5
being a factor of 1.6. Larger, a few notes move the greens of the whole map further (our choice)."""
OWN_SPREAD_RATIO = 0.15
"""One sigma of the logarithm by which each limit is off by itself, beside what shifts all of them. Larger, a few notes
pull one limit away from the others; smaller, all move together (our choice)."""
STEADINESS_SPREAD_RATIO = 0.5
"""One sigma of the logarithm of a mapper's own scatter around DENSITY_SPREAD_RATIO: mappers are not equally steady (our
choice)."""
LEAST_DENSITY_M2_PER_M3 = 0.01
"""Lower densities count as this: they are all alike to a runner, and a logarithm must stop somewhere (our choice)."""


@dataclass(frozen=True)
class LimitFit:
    """Limits fitted to notes.

    Attributes
    ----------
    limits : densities (m2/m3) where 406, 408 and 410 begin
    error : (3,) one sigma of each limit, as a share of it
    spread : scatter of the density that means one band to the mapper, one sigma of its logarithm
    """

    limits: Limits
    error: Numbers
    spread: float


def fit_limits(density: Numbers, band: Bands, /, *, limits: Limits) -> LimitFit:
    """Ordinal (proportional odds) regression of the band on log density, with the limits in use as prior.

    McCullagh (1980): P(band >= j) = logistic((log density - log limit_j) / s). Beforehand all limits together are
    expected to be off by COMMON_SPREAD_RATIO, each by itself by OWN_SPREAD_RATIO, and s to be DENSITY_SPREAD_RATIO.
    The prior is why no library is used: notes that agree with each other perfectly have no maximum-likelihood answer
    at all. Limits that fall short of each other are kept in order. The error is that of a Gaussian around the best fit
    (Laplace).

    Parameters
    ----------
    density : (n,) m2/m3 measured where each note was made
    band : (n,) index into BAND_SYMBOLS
    limits : densities (m2/m3) in use
    """
    start = np.log(np.asarray(limits))
    start_spread = np.log(DENSITY_SPREAD_RATIO)
    precision = np.linalg.inv(OWN_SPREAD_RATIO**2 * np.eye(3) + COMMON_SPREAD_RATIO**2)

    def cost(theta: Numbers) -> float:
        cut, log_spread = theta[:3], theta[3]
        chances = band_chances(density, limits=tuple(np.exp(cut)), spread=float(np.exp(log_spread)))
        chance = chances[np.arange(len(band)), band]
        shift = cut - start
        off = (log_spread - start_spread) / STEADINESS_SPREAD_RATIO
        prior = 0.5 * shift @ precision @ shift + 0.5 * off**2
        return float(prior - np.log(np.maximum(chance, 1e-12)).sum())

    best = minimize(cost, np.append(start, start_spread), method="BFGS")
    cut = np.maximum.accumulate(best.x[:3] + np.array([0.0, 1e-6, 2e-6]))
    slow, walk, fight = (float(value) for value in np.exp(cut))
    error = np.sqrt(np.maximum(np.diag(_inverse_hessian(cost, best.x))[:3], 0))
    return LimitFit((slow, walk, fight), error, float(np.exp(best.x[3])))


def band_chances(density: Numbers, /, *, limits: tuple[float, ...], spread: float) -> Numbers:
    """(n, 4) probability that a mapper calls each density 405, 406, 408 or 410; rows add up to 1."""
    x = np.log(np.maximum(density, LEAST_DENSITY_M2_PER_M3))
    # A logistic distribution of scale s has standard deviation s pi / sqrt(3).
    above = expit((x[:, None] - np.log(limits)) / (spread * np.sqrt(3) / np.pi))
    edge = np.concatenate((np.ones((len(x), 1)), above, np.zeros((len(x), 1))), axis=1)
    return np.asarray(edge[:, :-1] - edge[:, 1:], np.float64)


def _inverse_hessian(cost: Callable[[Numbers], float], at: Numbers) -> Numbers:
    """Inverse of the matrix of second derivatives, by central differences."""
    n, step = len(at), 1e-3
    hessian = np.empty((n, n))
    unit = np.eye(n) * step
    for i in range(n):
        for j in range(n):
            corners = (cost(at + a * unit[i] + b * unit[j]) * a * b for a in (-1, 1) for b in (-1, 1))
            hessian[i, j] = sum(corners) / (4 * step**2)
    return np.asarray(np.linalg.pinv(hessian), np.float64)
