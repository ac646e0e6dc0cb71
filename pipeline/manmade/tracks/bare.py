"""Ground worn or kept bare, smooth and even: strips that differ in it from what lies on both sides of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Heights
from pipeline.manmade.tracks.strips import along_mean, unit_along

ALONG_M = 14.0
"""Length of ground along which shares of pulses are means of: crowns of 5 m make gaps between them as long as that.
Longer, bends are lost (our choice)."""
SIDES_M = ((1.5, 2.25), (2.25, 3.0), (3.0, 4.5), (4.5, 7.0), (6.5, 9.0))
"""Nearer and farther distance from the middle of a strip at which its sides are seen: past the edges of a path, a track
and a road. Growth is often thickest right at the edge, where a track lets light in (our choice)."""


def bare_contrast(bare: Heights, pulses: Heights, number: int, /, *, cell_m: float) -> Heights:
    """(rows, cols) float32, how much larger the bare share of the pulses is in a strip than on its barer side.

    Bare are the pulses whose only return comes from the ground. From the difference one standard error is taken off,
    as for two counts with a share of one half, so that few pulses show nothing. The best of SIDES_M counts; negative
    values are 0.

    Parameters
    ----------
    bare, pulses : counts, no NaN
    number : direction along the strip, see `unit_along`
    """
    n_along = 2 * max(1, round(ALONG_M / 2 / cell_m)) + 1
    n = along_mean(pulses, number, length_m=ALONG_M, cell_m=cell_m) * n_along
    through = along_mean(bare, number, length_m=ALONG_M, cell_m=cell_m) * n_along
    share = (through / np.maximum(n, 1)).astype(np.float32)
    error = (0.5 * np.sqrt(1.5 / np.maximum(n, 0.5))).astype(np.float32)
    return _with_sides(share, error, number, cell_m=cell_m)


SMOOTH_ALONG_M = 16.0
"""Length of ground along which its roughness is the mean of (our choice)."""
LEAST_ROUGH_M = 0.01
"""Roughness below which ground is as smooth as any: the noise of an even surface (our choice)."""


def smooth_contrast(rough_m2: Heights, number: int, /, *, cell_m: float) -> Heights:
    """(rows, cols) float32, how much smoother a strip is than its smoother side, as a logarithm of their ratio.

    Parameters
    ----------
    rough_m2 : squares of what the ground rises above or lies below its own mean nearby, no NaN
    number : direction along the strip, see `unit_along`
    """
    mean = along_mean(rough_m2, number, length_m=SMOOTH_ALONG_M, cell_m=cell_m)
    smooth = (-0.5 * np.log(mean + LEAST_ROUGH_M**2)).astype(np.float32)
    return _with_sides(smooth, np.zeros_like(smooth), number, cell_m=cell_m)


WAVE_M = 20.0
"""Length of ground whose straight profile a course is held against: lumps and hollows up to that length are levelled
where people drive, and lie open beside it (fitted, see `USUAL_TIMES` of `pipeline.manmade.tracks.evidence`)."""
EVEN_ALONG_M = 24.0
"""Length of ground along which unevenness is the mean of (fitted as WAVE_M)."""
LEAST_UNEVEN_M = 0.02
"""Unevenness below which ground is as even as any: the noise of heights on a road (our choice)."""


def even_contrast(heights: Heights, number: int, /, *, cell_m: float) -> Heights:
    """(rows, cols) float32, how much more evenly a strip runs than its more even side, as a logarithm of their ratio.

    Uneven is what rises above or lies below the mean along the direction over WAVE_M. A road that only levels lumps of
    some metres, on flat ground, shows in nothing else: it has no bench, and `smooth_contrast` sees shorter lumps,
    which bare earth drawn through few returns hides beside the road.

    Parameters
    ----------
    heights : bare earth, metres, no NaN
    number : direction along the strip, see `unit_along`
    """
    uneven = heights - along_mean(heights, number, length_m=WAVE_M, cell_m=cell_m)
    mean = along_mean(np.square(uneven), number, length_m=EVEN_ALONG_M, cell_m=cell_m)
    even = (-0.5 * np.log(mean + LEAST_UNEVEN_M**2)).astype(np.float32)
    return _with_sides(even, np.zeros_like(even), number, cell_m=cell_m)


def _with_sides(share: Heights, error: Heights, number: int, /, *, cell_m: float) -> Heights:
    """The contrast of a mean along strips with that of the strips beside it, less an error."""
    east, north = unit_along(number)
    pairs = np.array(SIDES_M, np.float64) / cell_m
    rim = int(np.ceil(pairs.max())) + 1
    return _contrast(np.pad(share, rim, mode="edge"), error, pairs, -east, -north, rim)


@compiled
def _contrast(
    wide: Heights, error: Heights, pairs: NDArray[np.float64], down: float, right: float, rim: int
) -> Heights:
    """The best contrast of the middle with its higher side; `down` and `right` are a step of one cell to the left."""
    rows, cols = error.shape
    best = np.zeros((rows, cols), np.float32)
    side = np.empty((2, cols), np.float32)
    for row in range(rows):
        middle = wide[row + rim, rim : rim + cols]
        for k in range(len(pairs)):
            side[:] = 0
            for way in range(2):
                for j in range(2):
                    away = pairs[k, j] * (1 - 2 * way)
                    r, c = int(np.round(down * away)), int(np.round(right * away))
                    source = wide[row + rim + r, rim + c : rim + c + cols]
                    for col in range(cols):
                        side[way, col] += np.float32(0.5) * source[col]
            for col in range(cols):
                more = middle[col] - max(side[0, col], side[1, col]) - error[row, col]
                best[row, col] = max(best[row, col], more)
    return best
