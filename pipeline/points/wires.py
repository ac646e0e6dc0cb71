"""Wires: returns that hang in the air in long thin strings, with nothing just below or above them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from pipeline.lattice.grid import EastNorthHeight, Grid, Mask
from pipeline.lattice.per_cell import count_in_cells, highest_in_cells, lowest_in_cells
from pipeline.lattice.windows import highest_around, lowest_around
from pipeline.returns.cloud import Cloud

CELL_M = 1.0
"""Side in metres of the cells in which columns are looked at. A wire's own cell and the 8 around it must be empty but
for the wire: at least 1 m to every side. Our choice."""
GROWTH_FROM_M = 3.0
"""Height above ground, in metres, up to which growth may stand below a wire: corridors are mown every few years. Our
choice."""
CLEAR_M = 2.0
"""How far around a wire, in metres, most of what is high must hang freely: power lines keep more distance from trees.
Our choice."""
MIN_HANGING_RATIO = 0.5
"""Share of the high returns within that distance that must hang freely, 0 to 1: at the edge of a deck or a crown it is
far less. Our choice."""
MAX_LAYER_M = 2.5
"""Thickness in metres of the thickest layer of returns in the column of a wire: a bundle of wires; crowns are deeper
than 3 m. Our choice."""
MAX_STOPPED_RATIO = 0.6
"""Most high returns for each low last return in the column of a wire: wires stop few pulses, roofs all. Our choice."""
WINDOW_M = 8.0
"""How far around a return, in metres, its neighbours must lie along a line: 10 of them at 1 return a metre of wire. It
is also the longest gap within one wire. Our choice."""
MIN_RETURNS = 6
"""Fewest returns within that distance: fewer lie in line by chance. Our choice."""
MAX_SPREAD_M = 1.5
"""Standard deviation of the neighbours across the line, in metres, up to which they are a line: three wires 1.5 m apart
have 1.2 m. Our choice."""
MIN_SPREAD_RATIO = 0.4
"""Standard deviation of the neighbours along the line from which they are a line, as a share of `WINDOW_M`: an even
line has 0.58, and 0.29 at its end. Our choice."""
LEAST_LENGTH_M = 30.0
"""Length in metres of the shortest wire: rows of crowns are shorter, a span of a line is 50 m. It must stay below the
halo of a block, or a wire's ends are lost at the edges of blocks. Our choice."""
BUNDLE_M = 2.5
"""Distance in metres within which hanging returns beside a wire are wires of its bundle. Our choice."""

Pairs = NDArray[np.intp]
"""(k, 2) indices of two returns."""


def find_wires(
    cloud: Cloud, height_above_m: NDArray[np.float32], is_candidate: Mask, /, *, min_height_m: float
) -> Mask:
    """Which returns come from wires (ASPRS class 14).

    Precision comes first: a wire amid or close beside crowns is not found. No return further away than
    `LEAST_LENGTH_M` and the windows decides, so what a block sees beyond its halo changes nothing.

    Parameters
    ----------
    cloud : Cloud
    height_above_m : (n,) float32
        Above the bare earth; NaN is never wire.
    is_candidate : (n,) bool
        Neither ground nor noise nor water nor roof.
    min_height_m : float
        Height above ground of the lowest wire.

    Returns
    -------
    (n,) bool
    """
    found = np.zeros(len(cloud), bool)
    hanging = np.flatnonzero(_hangs(cloud, height_above_m, is_candidate, min_height_m=min_height_m))
    if len(hanging) < MIN_RETURNS:
        return found
    enh = cloud.enh[hanging]
    enh -= np.floor(enh.min(axis=0))
    strung = _in_string(enh)
    wire = strung.copy()
    wire[strung] = _in_long_chain(enh[strung])
    if wire.any():
        gap, _ = cKDTree(enh[wire]).query(enh, distance_upper_bound=BUNDLE_M)
        found[hanging[np.isfinite(gap)]] = True
    return found


@dataclass(frozen=True)
class _Columns:
    """What stands in and beside each cell: lowest and highest elevation of growth, counts of it and of low returns."""

    lowest: NDArray[np.float64]
    highest: NDArray[np.float64]
    high: NDArray[np.float64]
    low: NDArray[np.float64]


def _hangs(cloud: Cloud, height_above_m: NDArray[np.float32], is_candidate: Mask, /, *, min_height_m: float) -> Mask:
    """(n,) bool: high first returns of columns empty but for a thin layer, through which the ground is seen."""
    is_high = is_candidate & cloud.is_usable & (height_above_m >= min_height_m)
    if not is_high.any():
        return is_high
    is_growth = is_candidate & cloud.is_usable & (height_above_m >= GROWTH_FROM_M)
    is_low = cloud.is_usable & cloud.is_last & (height_above_m < GROWTH_FROM_M)
    west, south, east, north = cloud.east.min(), cloud.north.min(), cloud.east.max(), cloud.north.max()
    cell_m = CELL_M
    grid = Grid.covering((west, south, east + cell_m, north + cell_m), cell_m=cell_m, crs="")
    cell = grid.cell_index(cloud.east, cloud.north)
    columns = _columns(cell[is_growth], cloud.height[is_growth], cell[is_low], grid.shape)
    passes = (columns.high <= MAX_STOPPED_RATIO * columns.low).ravel()
    thin = (columns.highest - columns.lowest <= MAX_LAYER_M).ravel()
    # Only a part of all returns is high: what is known of cells is looked up for these alone.
    high = np.flatnonzero(is_high)
    of_high = cell[high]
    may_hang = (passes & thin)[of_high] & (cloud.return_number[high] <= 1)
    # Edges of decks, roofs and crowns are thin and let pulses pass too, but most of what is high beside them does not.
    near = round(CLEAR_M / cell_m) * 2 + 1
    clear = _around(of_high[may_hang], grid.shape, near) >= MIN_HANGING_RATIO * _around(of_high, grid.shape, near)
    hangs = np.zeros(len(cloud), np.bool_)
    hangs[high[may_hang & clear.ravel()[of_high]]] = True
    return hangs


def _around(cell: NDArray[np.int64], shape: tuple[int, int], cells: int) -> NDArray[np.float64]:
    """(rows, cols) count of returns in the square of so many cells about each cell."""
    count = count_in_cells(cell, shape).astype(float)
    return np.round(cells**2 * ndimage.uniform_filter(count, cells, mode="constant"))


def _columns(
    high: NDArray[np.int64], height: NDArray[np.float64], low: NDArray[np.int64], shape: tuple[int, int]
) -> _Columns:
    """Columns of 3 by 3 cells about each cell."""
    return _Columns(
        lowest_around(lowest_in_cells(high, height, shape, empty=np.inf), 1),
        highest_around(highest_in_cells(high, height, shape, empty=-np.inf), 1),
        *(_around(at, shape, 3) for at in (high, low)),
    )


def _in_string(enh: EastNorthHeight, /) -> Mask:
    """(k,) bool: returns whose neighbours lie along a line, on both sides, and not beside it."""
    places = enh[:, :2]
    pairs = _pairs(enh, WINDOW_M)
    step = places[pairs[:, 1]] - places[pairs[:, 0]]
    n, k = np.bincount(pairs[:, 0], minlength=len(enh)) + 1, len(enh)
    mean = np.column_stack([np.bincount(pairs[:, 0], step[:, axis], k) for axis in (0, 1)]) / n[:, None]
    xx, yy, xy = (
        np.bincount(pairs[:, 0], step[:, a] * step[:, b], k) / n - mean[:, a] * mean[:, b]
        for a, b in ((0, 0), (1, 1), (0, 1))
    )
    middle, half = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    along, across = np.sqrt(middle + half), np.sqrt(np.maximum(middle - half, 0))
    strung: Mask = (n >= MIN_RETURNS) & (across <= MAX_SPREAD_M) & (along >= MIN_SPREAD_RATIO * WINDOW_M)
    return strung


def _in_long_chain(enh: EastNorthHeight, /) -> Mask:
    """(k,) bool: returns of chains that reach far enough, each link shorter than the window."""
    pairs = _pairs(enh, WINDOW_M)
    links = coo_array((np.ones(len(pairs), bool), (pairs[:, 0], pairs[:, 1])), shape=(len(enh), len(enh)))
    count, chain = connected_components(links, directed=False)
    low, high = np.full((count, 2), np.inf), np.full((count, 2), -np.inf)
    np.minimum.at(low, chain, enh[:, :2])
    np.maximum.at(high, chain, enh[:, :2])
    long: Mask = np.hypot(*(high - low).T) >= LEAST_LENGTH_M
    return long[chain]


def _pairs(enh: EastNorthHeight, reach_m: float) -> Pairs:
    """All pairs of different returns nearer than a distance, each both ways round."""
    pairs = cKDTree(enh).query_pairs(reach_m, output_type="ndarray")
    return np.concatenate([pairs, pairs[:, ::-1]])
