"""How bright the ground is, cell by cell, as shares of what is usual in the survey."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.means import Known, gaussian_window

SUM, RETURNS = "lone_ground_intensity_sum", "lone_ground_returns"
"""Counts it is made from (`pipeline.terrain.counts.lone_ground`)."""
SIGMA_M = 1.0
"""Standard deviation of the bell that closes the gaps between single returns (our choice)."""
REACH_M = 5.0
DARK_SHARE, BRIGHT_SHARE = 0.02, 0.98
"""Shares of the cells that are darker than black and darker than white: a few glaring roofs and wet spots would else
leave the ground one grey (common practice, no source)."""
SAMPLE_STEP = 7
"""Every so many cells are asked for the limits."""


def brightness(intensity_sum: Heights, n_returns: Heights, grid: Grid, /) -> Heights:
    """Mean intensity of the ground around each cell, in the survey's own unit; NaN where no return is near."""
    known = np.isfinite(n_returns) & (n_returns > 0)
    window = gaussian_window(SIGMA_M / grid.cell_m, rim="constant", truncate=REACH_M)
    count = Known.of(known, window, dtype=np.float32)
    total = window(np.where(known, intensity_sum, 0).astype(np.float32))
    weight = window(np.where(known, n_returns, 0).astype(np.float32))
    return np.where(count.share > 1e-4, total / np.maximum(weight, 1e-6), np.nan).astype(np.float32)


def limits_of(parts: Iterable[Heights], /) -> tuple[float, float]:
    """The brightness that is drawn black and that which is drawn white; 0 and 1 where nothing is known."""
    samples = [part[::SAMPLE_STEP, ::SAMPLE_STEP].ravel() for part in parts]
    known = np.concatenate([sample[np.isfinite(sample)] for sample in samples]) if samples else np.empty(0)
    if not known.size:
        return 0.0, 1.0
    dark, bright = np.quantile(known, (DARK_SHARE, BRIGHT_SHARE))
    # Intensity is told in whole numbers: ground of one brightness is one grey.
    return float(dark), float(max(bright, dark + 1.0))


def as_shares(values: Heights, limits: tuple[float, float], /) -> Heights:
    """0 at the darker limit, 1 at the brighter; NaN stays."""
    dark, bright = limits
    shares: Heights = np.clip((values - dark) / (bright - dark), 0.0, 1.0).astype(np.float32)
    return shares
