"""Noise: returns no surface of the survey can have sent back.

Two kinds decide nothing on the map but spoil everything built on lowest or highest returns: returns far below the
ground (echoes that took a detour) and returns far above the canopy (birds, clouds, sensor faults). A return is noise
when it stands alone: few others share its neighbourhood in space, and it is the outermost of its column.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.lattice.per_cell import highest_in_cells, lowest_in_cells
from pipeline.returns.asprs import HIGH_NOISE, LOW_NOISE


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


def find_noise(
    enh: EastNorthHeight, producer_class: NDArray[np.uint8], /, *, cell_m: float, max_alone: int, min_gap_m: float
) -> Noise:
    """Noise the producer marked (classes 7 and 18), and lone returns far below or above all others near by.

    A cube of side `cell_m` is alone when it and its 26 neighbours hold at most `max_alone` returns. Returns in such
    cubes are noise when they lie more than `min_gap_m` below the lowest, or above the highest, return of the
    supported cubes in the 3 x 3 columns around. Reach: two cubes.

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
    alone = _is_alone(enh, cell_m=cell_m, max_alone=max_alone)
    index = np.flatnonzero(alone)
    if len(index) == 0:
        return Noise(is_low, is_high)
    lowest, highest = _supported_range(enh, alone, index, cell_m=cell_m)
    height = enh[index, 2]
    is_low[index] |= height < lowest - min_gap_m
    is_high[index] |= (height > highest + min_gap_m) & ~is_low[index]
    return Noise(is_low, is_high)


def _is_alone(enh: EastNorthHeight, /, *, cell_m: float, max_alone: int) -> Mask:
    """(n,) bool: the cube of the return and its neighbours hold at most `max_alone` returns."""
    east, north = (_from_one(np.floor(enh[:, axis] / cell_m).astype(np.int64)) for axis in (0, 1))
    layer = _without_gaps(np.floor(enh[:, 2] / cell_m).astype(np.int64))
    shape = int(east.max()) + 2, int(north.max()) + 2, int(layer.max()) + 2
    cube = (east * shape[1] + north) * shape[2] + layer
    around = np.bincount(cube, minlength=shape[0] * shape[1] * shape[2]).reshape(shape)
    for axis in range(3):
        line = np.moveaxis(around, axis, 0)
        total = line.copy()
        total[1:] += line[:-1]
        total[:-1] += line[1:]
        around = np.moveaxis(total, 0, axis)
    alone: Mask = (around <= max_alone).ravel()[cube]
    return alone


def _from_one(cell: NDArray[np.int64], /) -> NDArray[np.int64]:
    """(n,) counted so that the first cell is 1, which leaves an empty one before it."""
    return cell - (int(cell.min()) - 1)


def _without_gaps(layer: NDArray[np.int64], /) -> NDArray[np.int64]:
    """(n,) layers counted from 1, with a gap of many empty layers closed to one: a bird costs no memory."""
    lowest = int(layer.min())
    used = np.unique(layer) if int(layer.max()) - lowest > layer.size else np.flatnonzero(np.bincount(layer - lowest))
    used = used if used[0] == lowest else used + lowest
    place = np.cumsum(np.minimum(np.diff(used, prepend=lowest - 1), 2))
    return place[np.searchsorted(used, layer)]


def _supported_range(
    enh: EastNorthHeight, alone: Mask, index: NDArray[np.intp], /, *, cell_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lowest and highest supported return in the 3 x 3 columns around each return of `index`.

    Where there is none, the return is judged against nothing: -inf and inf.
    """
    column = np.floor(enh[:, :2] / cell_m).astype(np.int64)
    column -= column.min(axis=0) - 1
    n_rows = int(column[:, 1].max()) + 2
    key = column[:, 0] * n_rows + column[:, 1]
    size = int(column[:, 0].max() + 2) * n_rows
    supported, height = key[~alone], enh[~alone, 2]
    lowest = lowest_in_cells(supported, height, (size,), empty=np.inf)
    highest = highest_in_cells(supported, height, (size,), empty=-np.inf)
    low, high = np.full(len(index), np.inf), np.full(len(index), -np.inf)
    for east in (-1, 0, 1):
        for north in (-1, 0, 1):
            near = key[index] + east * n_rows + north
            low, high = np.minimum(low, lowest[near]), np.maximum(high, highest[near])
    nothing = ~np.isfinite(low)
    low[nothing], high[nothing] = -np.inf, np.inf
    return low, high
