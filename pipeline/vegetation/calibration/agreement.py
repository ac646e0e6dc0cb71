"""How well the bands drawn agree with those found on foot."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.vegetation.calibration.notes import Bands
from pipeline.vegetation.running.runnability import BAND_SYMBOLS

N_BANDS = len(BAND_SYMBOLS)


def confusion(found: Bands, drawn: Bands, /) -> NDArray[np.int64]:
    """(4, 4) counts of notes, row: band found on foot, column: band drawn."""
    return np.bincount(found * N_BANDS + drawn, minlength=N_BANDS**2).reshape(N_BANDS, N_BANDS).astype(np.int64)


def weighted_kappa(counts: NDArray[np.int64], /) -> float:
    """Quadratic weighted kappa (Cohen 1968) of a square table of counts; NaN where chance alone explains all."""
    n = counts.sum()
    k = len(counts)
    weight = np.subtract.outer(np.arange(k), np.arange(k)) ** 2
    expected = np.outer(counts.sum(axis=1), counts.sum(axis=0)) / max(n, 1)
    by_chance = float((weight * expected).sum())
    return 1 - float((weight * counts).sum()) / by_chance if by_chance > 0 else float("nan")
