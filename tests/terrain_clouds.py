"""Point clouds of shapes with a known bare earth, for the tests of points and surface."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]
Earth = Callable[[Numbers, Numbers], Numbers]


def scatter(size_m: float, *, per_m2: float, seed: int = 1) -> NDArray[np.float64]:
    """(n, 2) places in whole millimetres, spread evenly over a square, from a fixed seed."""
    random = np.random.default_rng(seed)
    return np.round(random.uniform(0, size_m, (int(size_m**2 * per_m2), 2)), 3)


def returns_from(earth: Earth, size_m: float, *, per_m2: float = 4.0, noise_m: float = 0.03) -> NDArray[np.float64]:
    """(n, 3) returns of a bare earth in whole millimetres, with noise of the given standard deviation."""
    en = scatter(size_m, per_m2=per_m2)
    noise = np.random.default_rng(2).normal(0, noise_m, len(en)) if noise_m else 0.0
    return np.column_stack((en, np.round(earth(en[:, 0], en[:, 1]) + noise, 3)))


def slope_of(rise: float) -> Earth:
    """A plane that rises to the east."""
    return lambda east, north: 100 + rise * east + 0 * north


def knoll(height_m: float, radius_m: float, middle_m: float) -> Earth:
    """A round hill on level ground, smooth at its foot and its top."""

    def earth(east: Numbers, north: Numbers) -> Numbers:
        away = np.minimum(np.hypot(east - middle_m, north - middle_m) / radius_m, 1)
        return 100 + height_m * 0.5 * (1 + np.cos(np.pi * away))

    return earth
