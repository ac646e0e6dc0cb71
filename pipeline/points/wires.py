"""Wires: returns that hang in the air in long thin strings, with nothing just below or above them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from pipeline.grid import EastNorthHeight, Grid, Mask
from pipeline.points.cloud import Cloud
from pipeline.settings import WireSettings
from pipeline.windows import highest_around, lowest_around

Pairs = NDArray[np.intp]
"""(k, 2) indices of two returns."""


def find_wires(
    cloud: Cloud, height_above_m: NDArray[np.float32], is_candidate: Mask, /, *, settings: WireSettings
) -> Mask:
    """Which returns come from wires (ASPRS class 14).

    Precision comes first: a wire amid or close beside crowns is not found. The reach is `least_length_m` and the
    windows: of a longer wire every return has that much of it around, so what a block sees beyond changes nothing.

    Parameters
    ----------
    cloud : Cloud
    height_above_m : (n,) float32
        Above the bare earth; NaN is never wire.
    is_candidate : (n,) bool
        Neither ground nor noise nor water nor roof.

    Returns
    -------
    (n,) bool
    """
    found = np.zeros(len(cloud), bool)
    hanging = np.flatnonzero(_hangs(cloud, height_above_m, is_candidate, settings=settings))
    if len(hanging) < settings.min_returns:
        return found
    enh = cloud.enh[hanging]
    enh -= np.floor(enh.min(axis=0))
    strung = _in_string(enh, settings=settings)
    wire = strung.copy()
    wire[strung] = _in_long_chain(enh[strung], settings=settings)
    if wire.any():
        gap, _ = cKDTree(enh[wire]).query(enh, distance_upper_bound=settings.bundle_m)
        found[hanging[np.isfinite(gap)]] = True
    return found


@dataclass(frozen=True)
class _Columns:
    """What stands in and beside each cell: lowest and highest elevation of growth, counts of it and of low returns."""

    lowest: NDArray[np.float64]
    highest: NDArray[np.float64]
    high: NDArray[np.float64]
    low: NDArray[np.float64]


def _hangs(cloud: Cloud, height_above_m: NDArray[np.float32], is_candidate: Mask, /, *, settings: WireSettings) -> Mask:
    """(n,) bool: high first returns of columns empty but for a thin layer, through which the ground is seen."""
    is_high = is_candidate & cloud.is_usable & (height_above_m >= settings.min_height_m)
    if not is_high.any():
        return is_high
    is_growth = is_candidate & cloud.is_usable & (height_above_m >= settings.growth_from_m)
    is_low = cloud.is_usable & cloud.is_last & (height_above_m < settings.growth_from_m)
    west, south, east, north = cloud.east.min(), cloud.north.min(), cloud.east.max(), cloud.north.max()
    cell_m = settings.cell_m
    grid = Grid.covering((west, south, east + cell_m, north + cell_m), cell_m=cell_m, crs="")
    cell = grid.cell_index(cloud.east, cloud.north)
    columns = _columns(cell[is_growth], cloud.height[is_growth], cell[is_low], grid.shape)
    passes = (columns.high <= settings.max_stopped_ratio * columns.low).ravel()
    thin = (columns.highest - columns.lowest <= settings.max_layer_m).ravel()
    hangs: Mask = is_high & (passes & thin)[cell] & (cloud.return_number <= 1)
    # Edges of decks, roofs and crowns are thin and let pulses pass too, but most of what is high beside them does not.
    near = round(settings.clear_m / cell_m) * 2 + 1
    clear = _around(cell[hangs], grid.shape, near) >= settings.min_hanging_ratio * _around(
        cell[is_high], grid.shape, near
    )
    return hangs & clear.ravel()[cell]


def _around(cell: NDArray[np.int64], shape: tuple[int, int], cells: int) -> NDArray[np.float64]:
    """(rows, cols) count of returns in the square of so many cells about each cell."""
    count = np.bincount(cell, minlength=shape[0] * shape[1]).reshape(shape).astype(float)
    return np.round(cells**2 * ndimage.uniform_filter(count, cells, mode="constant"))


def _columns(
    high: NDArray[np.int64], height: NDArray[np.float64], low: NDArray[np.int64], shape: tuple[int, int]
) -> _Columns:
    """Columns of 3 by 3 cells about each cell."""
    size = shape[0] * shape[1]
    lowest, highest = np.full(size, np.inf), np.full(size, -np.inf)
    np.minimum.at(lowest, high, height)
    np.maximum.at(highest, high, height)
    return _Columns(
        lowest_around(lowest.reshape(shape), 1),
        highest_around(highest.reshape(shape), 1),
        *(_around(at, shape, 3) for at in (high, low)),
    )


def _in_string(enh: EastNorthHeight, /, *, settings: WireSettings) -> Mask:
    """(k,) bool: returns whose neighbours lie along a line, on both sides, and not beside it."""
    places = enh[:, :2]
    pairs = _pairs(enh, settings.window_m)
    step = places[pairs[:, 1]] - places[pairs[:, 0]]
    n, k = np.bincount(pairs[:, 0], minlength=len(enh)) + 1, len(enh)
    mean = np.column_stack([np.bincount(pairs[:, 0], step[:, axis], k) for axis in (0, 1)]) / n[:, None]
    xx, yy, xy = (
        np.bincount(pairs[:, 0], step[:, a] * step[:, b], k) / n - mean[:, a] * mean[:, b]
        for a, b in ((0, 0), (1, 1), (0, 1))
    )
    middle, half = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    along, across = np.sqrt(middle + half), np.sqrt(np.maximum(middle - half, 0))
    strung: Mask = (
        (n >= settings.min_returns)
        & (across <= settings.max_spread_m)
        & (along >= settings.min_spread_ratio * settings.window_m)
    )
    return strung


def _in_long_chain(enh: EastNorthHeight, /, *, settings: WireSettings) -> Mask:
    """(k,) bool: returns of chains that reach far enough, each link shorter than the window."""
    pairs = _pairs(enh, settings.window_m)
    links = coo_array((np.ones(len(pairs), bool), (pairs[:, 0], pairs[:, 1])), shape=(len(enh), len(enh)))
    count, chain = connected_components(links, directed=False)
    low, high = np.full((count, 2), np.inf), np.full((count, 2), -np.inf)
    np.minimum.at(low, chain, enh[:, :2])
    np.maximum.at(high, chain, enh[:, :2])
    long: Mask = np.hypot(*(high - low).T) >= settings.least_length_m
    return long[chain]


def _pairs(enh: EastNorthHeight, reach_m: float) -> Pairs:
    """All pairs of different returns nearer than a distance, each both ways round."""
    pairs = cKDTree(enh).query_pairs(reach_m, output_type="ndarray")
    return np.concatenate([pairs, pairs[:, ::-1]])
