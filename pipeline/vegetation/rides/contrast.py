"""How much clearer a narrow strip through each place is than the ground on both sides of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import fft

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
    north = fft.fftfreq(shape[0]).astype(np.float32)[:, None] / -cell_m
    east = fft.rfftfreq(shape[1]).astype(np.float32)[None, :] / cell_m
    strength = np.full(clear.shape, -1, np.float32)
    direction = np.zeros(clear.shape, np.int16)
    for k in range(DIRECTIONS):
        angle = np.pi * k / DIRECTIONS
        values = _one_direction(spectra, east, north, shape, clear.shape, angle, cell_m=cell_m)
        better = values > strength
        strength[better] = values[better]
        direction[better] = k
    return strength, direction


def _one_direction(
    spectra: list[NDArray[np.complex64]],
    east: NDArray[np.float32],
    north: NDArray[np.float32],
    padded: tuple[int, ...],
    shape: tuple[int, ...],
    angle: float,
    *,
    cell_m: float,
) -> Heights:
    """Contrast for a strip that runs at `angle` (radians, counter-clockwise from east)."""
    along = east * np.cos(angle) + north * np.sin(angle)
    across = north * np.cos(angle) - east * np.sin(angle)
    spread = (along * ALONG_M) ** 2 + (across * ACROSS_M) ** 2
    window = np.exp(np.float32(-2 * np.pi**2) * spread).astype(np.float32)
    clear, pulses = (fft.irfft2(spectrum * window, s=padded, workers=1) for spectrum in spectra)
    share = np.where(pulses > MIN_PULSES_PER_M2 * cell_m**2, clear / np.maximum(pulses, 1e-6), np.nan)
    right, up = -np.sin(angle) * SIDE_M / cell_m, np.cos(angle) * SIDE_M / cell_m
    left_side = np.roll(share, (round(up), -round(right)), axis=(0, 1))
    right_side = np.roll(share, (-round(up), round(right)), axis=(0, 1))
    contrast = share - np.maximum(left_side, right_side)
    return np.asarray(np.nan_to_num(contrast[: shape[0], : shape[1]], nan=-1), np.float32)
