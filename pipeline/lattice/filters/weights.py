"""Sums with any weights around each cell, by Fourier transforms of one part of the grid after the other."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Floats = NDArray[np.float64]
PART_SIDES = 8
"""Side of a part, in sides of the weights: larger parts share less of their rim with the next, smaller ones stay in the
fastest memory of the processor (our choice)."""
LEAST_PART = 200
"""Least side of a part in cells: smaller ones are too many (our choice)."""


def weighted_sums(values: Floats, weights: Floats, /) -> Floats:
    """(rows - k + 1, cols - k + 1) sums of the values in a square of k cells a side, times its (k, k) weights.

    Only squares that lie within the grid. Off by rounding in the 15th digit of the largest value, in another way for
    grids of another size.

    Source
    ------
    The overlap-save method: Stockham (1966), AFIPS Proceedings 28, 229-233 (from memory).
    """
    k = len(weights)
    side = fft.next_fast_len(max(LEAST_PART, PART_SIDES * k), real=True)
    spectrum = fft.rfft2(weights[::-1, ::-1], s=(side, side))
    found = np.empty((values.shape[0] - k + 1, values.shape[1] - k + 1))
    step = side - k + 1
    for top in range(0, found.shape[0], step):
        for left in range(0, found.shape[1], step):
            part = values[top : top + side, left : left + side]
            sums = fft.irfft2(fft.rfft2(part, s=(side, side)) * spectrum, s=(side, side))
            own = found[top : top + step, left : left + step]
            own[:] = sums[k - 1 : k - 1 + own.shape[0], k - 1 : k - 1 + own.shape[1]]
    return found
