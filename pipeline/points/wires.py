"""Wires: returns that hang in the air in long thin strings, with nothing just below or above them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorth, EastNorthHeight, Grid, Mask
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
"""Thickness in metres of the layer of returns in the column of a wire: a bundle of wires; crowns are deeper than 3 m.
Our choice."""
LEVELS = 64
"""Levels of one metre above the ground in which layers are told apart, one bit of a number each; what is higher counts
as the highest."""
APART_LEVELS = 3
"""Fewest empty levels between wires hung above each other: the arms of pylons are 4 m apart and more (common practice,
no source); less, and crowns seen by few returns fall into layers."""
LOWEST_STACKED_LEVEL = 8
"""Level in metres below which nothing may stand under such wires: shrubs in layers are lower. Our choice."""
MAX_LAYER_LEVELS = 3
"""Levels that one of such layers may fill: `MAX_LAYER_M`, wherever it begins."""
MAX_STOPPED_RATIO = 0.6
"""Most high returns for each low last return in the column of a wire: wires stop few pulses, roofs all. Our choice."""
WINDOW_M = 8.0
"""How far around a return, in metres, its neighbours must lie along a line: 10 of them at 1 return a metre of wire. It
is also the longest gap within one wire. Our choice."""
MIN_RETURNS = 6
"""Fewest returns within that distance: fewer lie in line by chance. Our choice."""
DIRECTION_M = 5.0
"""How far around a return, in metres, the direction of its wire is told: the arms of pylons keep their wires further
apart. Our choice."""
STRIP_M = 4.0
"""Half the width, in metres, of the strip along that direction in which neighbours count. Our choice."""
BESIDE_M, MAX_BESIDE_RATIO = 6.5, 0.15
"""Up to which distance beside the strip, in metres, there is next to nothing, and how many returns for each in it there
may be: shrubs have others around them, the next wires hang further away. Our choice."""
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

GROW_ROUNDS, GROW_M = 4, 6.0
"""How often, and how far each time in metres, a wire is carried on where something stands below or beside it. Our
choice."""
GROW_ASIDE_M = 0.5
"""How far aside of its line, in metres, returns then count to the wire: double wires and their swing. Twice as far,
crowns count too. Fitted on a line of six wires over trees."""

Numbers = NDArray[np.float64]
Pairs = NDArray[np.intp]
"""(k, 2) indices of two returns."""


def find_wires(
    cloud: Cloud, height_above_m: NDArray[np.float32], is_candidate: Mask, /, *, min_height_m: float
) -> Mask:
    """Which returns come from wires (ASPRS class 14).

    Precision comes first: a wire amid crowns is found only where a free stretch of it is carried on. No return further
    away than `LEAST_LENGTH_M`, the windows and GROW_ROUNDS times GROW_M decides, so what a block sees beyond its halo
    changes nothing.

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
        may_be = is_candidate & cloud.is_usable & (height_above_m >= min_height_m)
        for _ in range(GROW_ROUNDS):
            found |= _on_wires_going_on(cloud, found, may_be & ~found)
    return found


def _on_wires_going_on(cloud: Cloud, found: Mask, may_be: Mask, /) -> Mask:
    """(n,) bool: returns on a found wire carried straight on, where crowns or a pylon stand below or beside it.

    The line of a wire at a return is the chief axis of the found returns within `DIRECTION_M`, of the same wire.
    """
    grown = np.zeros(len(cloud), np.bool_)
    wire, other = np.flatnonzero(found), np.flatnonzero(may_be)
    if not len(other):
        return grown
    origin = cloud.enh[wire[0]]
    wires, others = cloud.enh[wire] - origin, cloud.enh[other] - origin
    near = cKDTree(wires)
    distance, first = (np.atleast_1d(found) for found in near.query(others, distance_upper_bound=GROW_M))
    close = np.flatnonzero(np.isfinite(distance))
    heads = np.unique(first[close])
    axis, middle, is_line = _axes(wires, near, heads)
    at = np.searchsorted(heads, first[close])
    off = others[close] - middle[at]
    along = np.einsum("ij,ij->i", off, axis[at])
    aside = np.linalg.norm(off - along[:, None] * axis[at], axis=1)
    grown[other[close[is_line[at] & (aside <= GROW_ASIDE_M)]]] = True
    return grown


def _axes(enh: EastNorthHeight, tree: cKDTree, heads: NDArray[np.intp], /) -> tuple[Numbers, Numbers, Mask]:
    """Unit vector along the wire, a place on it and whether its returns lie along a line at all, for some returns."""
    axis, middle, is_line = np.zeros((len(heads), 3)), np.zeros((len(heads), 3)), np.zeros(len(heads), np.bool_)
    for number, around in enumerate(tree.query_ball_point(enh[heads], DIRECTION_M)):
        near = enh[around]
        # Of one wire: those of the bundle hang higher, lower or beside it.
        near = near[np.abs(near[:, 2] - enh[heads[number], 2]) <= GROW_M / 2]
        if len(near) < MIN_RETURNS:
            continue
        middle[number] = near.mean(axis=0)
        _, spread, axes = np.linalg.svd(near - middle[number], full_matrices=False)
        axis[number] = axes[0]
        is_line[number] = spread[1] <= MAX_SPREAD_M / 2 * np.sqrt(len(near))
    return axis, middle, is_line


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
    stacked = _in_thin_layers(cell[is_growth], height_above_m[is_growth], grid.shape)
    thin = ((columns.highest - columns.lowest <= MAX_LAYER_M) | stacked).ravel()
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


def _in_thin_layers(cell: NDArray[np.int64], above_m: NDArray[np.float32], shape: tuple[int, int], /) -> Mask:
    """(rows, cols) bool: columns of 3 by 3 cells whose returns lie in thin layers far above each other.

    Such are the wires on the arms of a pylon, one above the other. Columns without any return count too.
    """
    own = _levels(cell, np.clip(above_m, 0, LEVELS - 1).astype(np.uint64), shape[0] * shape[1]).reshape(shape)
    wide = np.pad(own, 1)
    filled = np.zeros(shape, np.uint64)
    for down in range(3):
        for right in range(3):
            filled |= wide[down : down + shape[0], right : right + shape[1]]
    # Gaps too narrow to part two wires are closed from both sides; a layer that is then still too deep is a crown.
    reach = (APART_LEVELS - 1) // 2
    closed = filled.copy()
    for step in range(1, reach + 1):
        closed |= (filled << np.uint64(step)) | (filled >> np.uint64(step))
    deep = closed.copy()
    for step in range(1, MAX_LAYER_LEVELS + 2 * reach + 1):
        deep &= closed >> np.uint64(step)
    is_free = (filled & np.uint64(2**LOWEST_STACKED_LEVEL - 1)) == 0
    return np.asarray((deep == 0) & is_free)


@compiled
def _levels(cell: NDArray[np.int64], level: NDArray[np.uint64], n: int) -> NDArray[np.uint64]:
    """(n,) the levels filled in each cell, one bit each."""
    filled = np.zeros(n, np.uint64)
    for i in range(len(cell)):
        if cell[i] >= 0:
            filled[cell[i]] |= np.uint64(1) << level[i]
    return filled


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
    """(k,) bool: returns whose neighbours lie along a line, on both sides, and not beside it.

    The direction is told from near neighbours; further away only those in a strip along it count, so that the wires of
    the other arm of a pylon say nothing against these.
    """
    pairs = _pairs(enh, WINDOW_M)
    step = enh[pairs[:, 1], :2] - enh[pairs[:, 0], :2]
    is_near = np.hypot(*step.T) <= DIRECTION_M
    xx, yy, xy, _ = _spreads(pairs[is_near, 0], step[is_near], len(enh))
    angle = (np.arctan2(2 * xy, xx - yy) / 2)[pairs[:, 0]]
    along = step[:, 0] * np.cos(angle) + step[:, 1] * np.sin(angle)
    across = step[:, 1] * np.cos(angle) - step[:, 0] * np.sin(angle)
    in_strip = np.abs(across) <= STRIP_M
    far = np.column_stack((along, across))[in_strip]
    along2, across2, _, n = _spreads(pairs[in_strip, 0], far, len(enh))
    is_beside = (np.abs(across) > STRIP_M) & (np.abs(across) <= BESIDE_M)
    beside = np.bincount(pairs[is_beside, 0], minlength=len(enh))
    is_long = along2 >= (MIN_SPREAD_RATIO * WINDOW_M) ** 2
    return np.asarray((n >= MIN_RETURNS) & (across2 <= MAX_SPREAD_M**2) & is_long & (beside <= MAX_BESIDE_RATIO * n))


def _spreads(of: NDArray[np.intp], step: EastNorth, k: int) -> tuple[Numbers, Numbers, Numbers, NDArray[np.intp]]:
    """Variances of x and y, their covariance, m2, and number of each return with its neighbours; (k,) each."""
    n = np.bincount(of, minlength=k) + 1
    mean_x, mean_y = (np.bincount(of, step[:, axis], k) / n for axis in (0, 1))
    xx, yy, xy = (np.bincount(of, step[:, a] * step[:, b], k) / n for a, b in ((0, 0), (1, 1), (0, 1)))
    return xx - mean_x**2, yy - mean_y**2, xy - mean_x * mean_y, n


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
