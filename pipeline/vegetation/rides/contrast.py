"""How much clearer a narrow strip through each place is than the ground on both sides of it."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from pipeline.compiled import compiled
from pipeline.lattice.grid import Heights

DIRECTIONS = 36
"""Directions tried for a strip: 5 degrees apart, so that the best one is 2.5 degrees off at most, 1.5 m aside after
35 m (our choice)."""
ALONG_M = 18.0
"""Sigma along the strip: it counts over some 64 m, the length of the shortest ride. Shorter, gaps between crowns pass
for rides; longer, the ends of rides are lost (our choice)."""
ACROSS_M = 1.2
"""Sigma across the strip: it counts over some 4 m, the width of a ride (our choice)."""
SIDE_M = 6.0
"""Distance of the two sides from the strip's middle: clear of a ride 8 m wide (our choice)."""
MIN_PULSES_PER_M2 = 0.2
"""Where the strip or a side holds fewer pulses nothing is said (our choice)."""


REACH_M = 4 * ALONG_M + SIDE_M
"""How far from a cell pulses lie that decide about the contrast there."""


def strip_contrast(clear: Heights, pulses: Heights, /, *, cell_m: float) -> tuple[Heights, NDArray[np.int16]]:
    """How much clearer a strip through each cell is than the ground on both sides of it, over all directions.

    The strip is a Gaussian of sigma ALONG_M along and ACROSS_M across; each side is such a strip, moved by SIDE_M to
    the left or to the right. Taking the clearer side leaves the edges of open land without contrast.

    Parameters
    ----------
    clear, pulses : (rows, cols) pulses that met no plant, and all pulses
        The two are taken to repeat beyond their rim, so that what lies within REACH_M of it means nothing.

    Returns
    -------
    (rows, cols) float32, clear share within the strip minus that of the clearer side, for the best direction; and
    (rows, cols) int16, that direction, a multiple of pi / DIRECTIONS counter-clockwise from east
    """
    shape = tuple(fft.next_fast_len(size, real=True) for size in clear.shape)
    spectra = [np.asarray(fft.rfft2(np.nan_to_num(grid), s=shape), np.complex64) for grid in (clear, pulses)]
    strength = np.full(clear.shape, -1, np.float32)
    direction = np.zeros(clear.shape, np.int16)
    least_pulses = float(np.float32(MIN_PULSES_PER_M2 * cell_m**2))
    for k, window in enumerate(_windows((shape[0], shape[1]), cell_m)):
        angle = np.pi * k / DIRECTIONS
        # How many rows up and columns right of a strip its left side lies.
        up, right = round(np.cos(angle) * SIDE_M / cell_m), round(-np.sin(angle) * SIDE_M / cell_m)
        clearer, more = (fft.irfft2(spectrum * window, s=shape, workers=1) for spectrum in spectra)
        _keep_stronger(_share(clearer, more, least_pulses, max(abs(up), abs(right))), up, right, k, strength, direction)
    return strength, direction


@lru_cache(maxsize=1)
def _windows(shape: tuple[int, int], cell_m: float) -> list[Heights]:
    """Spectrum of the strip in each direction, for grids of a shape; squares of the lattice all have the same."""
    north = fft.fftfreq(shape[0]).astype(np.float32)[:, None] / -cell_m
    east = fft.rfftfreq(shape[1]).astype(np.float32)[None, :] / cell_m
    windows = []
    for angle in np.pi * np.arange(DIRECTIONS) / DIRECTIONS:
        along = east * np.cos(angle) + north * np.sin(angle)
        across = north * np.cos(angle) - east * np.sin(angle)
        spread = (along * ALONG_M) ** 2 + (across * ACROSS_M) ** 2
        windows.append(np.exp(np.float32(-2 * np.pi**2) * spread).astype(np.float32))
    return windows


@compiled
def _share(clear: Heights, pulses: Heights, least_pulses: float, rim: int) -> Heights:
    """Clear share of the pulses, NaN where they are few, with a rim around in which the grid repeats."""
    rows, cols = clear.shape
    share = np.empty((rows + 2 * rim, cols + 2 * rim), np.float32)
    for row in range(rows):
        for col in range(cols):
            is_seen = pulses[row, col] > least_pulses
            ratio = clear[row, col] / max(pulses[row, col], np.float32(1e-6))
            share[row + rim, col + rim] = ratio if is_seen else np.float32(np.nan)
    share[rim : rim + rows, :rim] = share[rim : rim + rows, cols : cols + rim]
    share[rim : rim + rows, cols + rim :] = share[rim : rim + rows, rim : 2 * rim]
    share[:rim] = share[rows : rows + rim]
    share[rows + rim :] = share[rim : 2 * rim]
    return share


@compiled
def _keep_stronger(
    share: Heights, up: int, right: int, number: int, strength: Heights, direction: NDArray[np.int16]
) -> None:
    """Keep the contrast of a strip with its clearer side, and the number of its direction, where it is the greatest.

    Parameters
    ----------
    share : of `_share`, with its rim
    up, right : rows and columns from a strip to its left side
    """
    rim = max(abs(up), abs(right))
    rows, cols = strength.shape
    for row in range(rows):
        middle = share[rim + row, rim : rim + cols]
        left = share[rim + row - up, rim + right : rim + right + cols]
        other = share[rim + row + up, rim - right : rim - right + cols]
        for col in range(cols):
            to_left, to_right = middle[col] - left[col], middle[col] - other[col]
            # A comparison with NaN is false: where a side was not seen nothing is kept.
            if to_left > strength[row, col] and to_right > strength[row, col]:
                strength[row, col] = min(to_left, to_right)
                direction[row, col] = number
