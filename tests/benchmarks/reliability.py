"""Stated confidence against truth, in five bins, in the words of `reliability.py` that judges drafts of scenes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

N_BINS = 5


def calibration_error(confidence: NDArray[np.float64], is_true: NDArray[np.bool_], /) -> float:
    """Mean distance of what was stated from what was true, weighted by how many lie in each bin."""
    bins = bins_of(confidence)
    return float(
        sum((bins == b).mean() * abs(confidence[bins == b].mean() - is_true[bins == b].mean()) for b in np.unique(bins))
    )


def bins_of(confidence: NDArray[np.float64], /) -> NDArray[np.int64]:
    """The bin of each."""
    return np.clip((confidence * N_BINS).astype(np.int64), 0, N_BINS - 1)


def reliability_line(name: str, confidence: NDArray[np.float64], is_true: NDArray[np.bool_], /) -> str:
    """One line, from which `docs/make_reliability_plot.py` draws a plot."""
    if not len(confidence):
        return f"{name}: none drawn"
    bins = bins_of(confidence)
    parts = [
        f"{confidence[bins == b].mean():.2f}->{is_true[bins == b].mean():.2f} ({(bins == b).sum()})"
        for b in np.unique(bins)
    ]
    error = calibration_error(confidence, is_true)
    return f"{name}: calibration error {error:.2f}; stated->true (n): " + ", ".join(parts)
