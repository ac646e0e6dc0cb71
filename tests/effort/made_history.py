"""Hours of areas that follow known factors on the trade's rates."""

from __future__ import annotations

import numpy as np

from pipeline.effort.rates.history import Past
from pipeline.effort.rates.trade import MEASURES, ORDINARY, TASKS, rate_matrix


def made_hours(rng: np.random.Generator, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Square kilometres of areas of different kinds, and the trade's hours for their tasks."""
    usual = np.array([ORDINARY[name] for name in MEASURES])
    area_km2 = rng.uniform(1, 6, n)
    kinds = np.exp(rng.normal(0, 1, (n, len(usual))))
    kinds[:, MEASURES.index("area_km2")] = 1
    return area_km2, (usual * kinds * area_km2[:, None]) @ rate_matrix()


def made_history(seed: int, *, n: int = 12, noise: float = 0.0) -> tuple[Past, np.ndarray]:
    """Areas whose hours follow known factors on the trade's rates, but for a noise; and the factors."""
    rng = np.random.default_rng(seed)
    area_km2, trade_h = made_hours(rng, n)
    factor = rng.uniform(0.6, 1.8, len(TASKS))
    hours = trade_h @ factor * np.exp(rng.normal(0, noise, n))
    return Past(area_km2, trade_h, hours, np.full(n, np.nan)), factor
