"""Noise: returns no surface of the survey can have sent back.

Two kinds decide nothing on the map but spoil everything built on lowest or highest returns: returns far below the
ground (echoes that took a detour) and returns far above the canopy (birds, clouds, sensor faults). A return is noise
when it stands alone: few others share its neighbourhood in space, and it is the outermost of its column.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.returns.asprs import HIGH_NOISE, LOW_NOISE

CUBE_M = 5.0
"""Side in metres of the cubes in which lone returns are sought: several times the distance between pulses. In smaller
cubes sparse ground counts as alone, in larger ones a bird has company. Our choice."""
MAX_ALONE = 3
"""Most returns that a cube and the 26 around it may hold for these returns to be alone: a bird or a cloud often sends
back several. Our choice."""
MIN_GAP_M = 1.0
"""How far, in metres, a lone return must lie below or above all others near by to be noise: nearer ones may be a twig
or a hole in the ground. Our choice."""


@dataclass(frozen=True)
class Noise:
    """Which returns are noise.

    Attributes
    ----------
    is_low, is_high : (n,) bool
        Below the ground, above everything else.
    """

    is_low: Mask
    is_high: Mask


def find_noise(enh: EastNorthHeight, producer_class: NDArray[np.uint8], /) -> Noise:
    """Noise the producer marked (classes 7 and 18), and lone returns far below or above all others near by.

    A cube is alone when it and its 26 neighbours hold at most `MAX_ALONE` returns. Returns in such cubes are noise when
    they lie more than `MIN_GAP_M` below the lowest, or above the highest, return of all other cubes in the 3 x 3
    columns around. What lies two cubes away can therefore decide.

    Parameters
    ----------
    enh : (n, 3) float64, metres
    producer_class : (n,) uint8
        ASPRS classes as delivered.
    """
    is_low = producer_class == LOW_NOISE
    is_high = producer_class == HIGH_NOISE
    if len(enh) == 0:
        return Noise(is_low, is_high)
    alone = _is_alone(enh)
    index = np.flatnonzero(alone)
    if len(index) == 0:
        return Noise(is_low, is_high)
    lowest, highest = _supported_range(enh, alone, index)
    height = enh[index, 2]
    is_low[index] |= height < lowest - MIN_GAP_M
    is_high[index] |= (height > highest + MIN_GAP_M) & ~is_low[index]
    return Noise(is_low, is_high)


def _is_alone(enh: EastNorthHeight, /) -> Mask:
    """(n,) bool: the cube of the return and its neighbours hold at most `MAX_ALONE` returns."""
    layer = _without_gaps(np.floor(enh[:, 2] / CUBE_M).astype(np.int64))
    first = [math.floor(enh[:, axis].min() / CUBE_M) - 1 for axis in (0, 1)]
    last = [math.floor(enh[:, axis].max() / CUBE_M) for axis in (0, 1)]
    shape = last[0] - first[0] + 2, last[1] - first[1] + 2, int(layer.max()) + 2
    cube = _cubes(enh, layer, first[0], first[1], shape[1], shape[2])
    around = np.bincount(cube, minlength=shape[0] * shape[1] * shape[2]).reshape(shape)
    for axis in range(3):
        line = np.moveaxis(around, axis, 0)
        total = line.copy()
        total[1:] += line[:-1]
        total[:-1] += line[1:]
        around = np.moveaxis(total, 0, axis)
    alone: Mask = (around <= MAX_ALONE).ravel()[cube]
    return alone


@compiled
def _cubes(
    enh: EastNorthHeight, layer: NDArray[np.int64], first_col: int, first_row: int, n_rows: int, n_layers: int
) -> NDArray[np.int64]:
    """(n,) number of the cube of each return, by column, row and layer; those before the first are empty."""
    cube = np.empty(len(enh), np.int64)
    for i in range(len(enh)):
        col, row = math.floor(enh[i, 0] / CUBE_M) - first_col, math.floor(enh[i, 1] / CUBE_M) - first_row
        cube[i] = (col * n_rows + row) * n_layers + layer[i]
    return cube


def _without_gaps(layer: NDArray[np.int64], /) -> NDArray[np.int64]:
    """(n,) layers counted from 1, with a gap of many empty layers closed to one: a bird costs no memory."""
    lowest = int(layer.min())
    used = np.unique(layer) if int(layer.max()) - lowest > layer.size else np.flatnonzero(np.bincount(layer - lowest))
    used = used if used[0] == lowest else used + lowest
    place = np.cumsum(np.minimum(np.diff(used, prepend=lowest - 1), 2))
    if int(used[-1]) - lowest > layer.size:
        return place[np.searchsorted(used, layer)]
    place_of = np.zeros(int(used[-1]) - lowest + 1, np.int64)
    place_of[used - lowest] = place
    return place_of[layer - lowest]


def _supported_range(
    enh: EastNorthHeight, alone: Mask, index: NDArray[np.intp], /
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(k,) lowest and (k,) highest return that is not alone in the 3 x 3 columns around each return of `index`.

    Where there is none: -inf and inf, so that nothing lies below or above.
    """
    west_col, south_row = (int(np.floor(enh[:, axis].min() / CUBE_M)) - 1 for axis in (0, 1))
    n_cols, n_rows = (int(np.floor(enh[:, a].max() / CUBE_M)) - f + 2 for a, f in ((0, west_col), (1, south_row)))
    lowest, highest = np.full(n_cols * n_rows, np.inf), np.full(n_cols * n_rows, -np.inf)
    _range_of_columns(enh, alone, west_col, south_row, n_rows, lowest, highest)
    column = np.floor(enh[index, :2] / CUBE_M).astype(np.int64) - (west_col, south_row)
    key = column[:, 0] * n_rows + column[:, 1]
    low, high = np.full(len(index), np.inf), np.full(len(index), -np.inf)
    for east in (-1, 0, 1):
        for north in (-1, 0, 1):
            near = key + east * n_rows + north
            low, high = np.minimum(low, lowest[near]), np.maximum(high, highest[near])
    nothing = ~np.isfinite(low)
    low[nothing], high[nothing] = -np.inf, np.inf
    return low, high


@compiled
def _range_of_columns(
    enh: EastNorthHeight,
    alone: Mask,
    west_col: int,
    south_row: int,
    n_rows: int,
    lowest: NDArray[np.float64],
    highest: NDArray[np.float64],
) -> None:
    """Write down the lowest and the highest return of each column that is not alone."""
    for i in range(len(enh)):
        if not alone[i]:
            col, row = math.floor(enh[i, 0] / CUBE_M) - west_col, math.floor(enh[i, 1] / CUBE_M) - south_row
            at = col * n_rows + row
            lowest[at], highest[at] = min(lowest[at], enh[i, 2]), max(highest[at], enh[i, 2])
