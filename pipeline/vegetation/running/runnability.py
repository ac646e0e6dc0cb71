"""Running speed from density, and the bands of the ISOM cut from it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Heights

BAND_SYMBOLS = ("405", "406", "408", "410")
"""ISOM 2017-2, 3.4: forest, slow running, walk, fight."""
BAND_SPEEDS = (0.8, 0.6, 0.2)
"""ISOM 2017-2, 2.3: share of free running at which one band gives way to the next."""
BAND_OF = {"405": 0, "406": 1, "407": 1, "408": 2, "409": 2, "410": 3}
"""Band of each symbol of forest, by its place in BAND_SYMBOLS; 407 and 409 differ from 406 and 408 by the view only."""
DENSITY_SPREAD_RATIO = 0.35
"""One sigma of the natural logarithm of the density at which different runners, leaf angles and days draw the same
band: a third up or down (unmeasured: our choice). The limits fitted to notes start from it."""

Limits = tuple[float, float, float]
"""Density in m2/m3 at which 406, 408 and 410 begin. Where they lie by default (0.1, 0.4, 0.9) is our choice: neither
the norm, nor common practice, nor notes made on foot say a density. They lie between the grades 0.03, 0.22, 0.55 and
1.2 of the first invented scenes, so that agreement there says nothing of them."""


def band_limits(*, slow_from_m2_per_m3: float, walk_from_m2_per_m3: float, fight_from_m2_per_m3: float) -> Limits:
    """Densities (m2/m3) where 406, 408 and 410 begin.

    Raises
    ------
    ValueError
        If they do not rise.
    """
    limits = (slow_from_m2_per_m3, walk_from_m2_per_m3, fight_from_m2_per_m3)
    if not limits[0] < limits[1] < limits[2]:
        raise ValueError(f"the limits of 406, 408 and 410 must rise, not {limits}")
    return limits


def running_speed(density: Heights, /, *, limits: Limits) -> Heights:
    """Expected share of free running speed, 0..1, from plant-area density; NaN stays NaN.

    The standard says what a band means in speed (80, 60 and 20 %); the limits say at which density. Between those
    fixed points runs a monotone cubic (Fritsch and Carlson 1980) from free running at density 0; past the last one
    speed halves for every further half of the fight limit. The linear model of Campbell, Dennison and Butler
    (2017, Int. J. Wildland Fire 26: 884-895) was measured on walkers in shrub one can see over and cannot fall below
    35 %: it is the upper bound, not the relation, for a runner among branches.
    """
    slow, walk, fight = limits
    from scipy.interpolate import PchipInterpolator  # takes long to import, for steps that draw no vegetation

    knots = PchipInterpolator([0.0, slow, walk, fight], [1.0, *BAND_SPEEDS])
    within = knots(np.clip(density, 0, fight))
    beyond = BAND_SPEEDS[2] * np.exp2(-(np.asarray(density, np.float64) - fight) / (0.5 * fight))
    return np.where(np.asarray(density) > fight, beyond, within).astype(np.float32)


def band_of(density: Heights, /, *, limits: Limits) -> NDArray[np.int16]:
    """Index into BAND_SYMBOLS of each density; -1 where it is NaN."""
    band = np.digitize(density, limits).astype(np.int16)
    return np.where(np.isnan(density), np.int16(-1), band)
