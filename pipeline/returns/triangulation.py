"""The surface between returns: their triangulation, and heights read from it."""

from __future__ import annotations

import numpy as np
import startinpy
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.lattice.grid import EastNorth, EastNorthHeight
from pipeline.lattice.sampling import bilinear

TICKS_PER_M = 1024.0
"""Heights and places are summed in these ticks, which floating point adds without error."""
COARSEST = 64
"""The widest lattice of the nodes that are triangulated first, in half metres; wider ones hold too few to matter."""


def cell_means(enh: EastNorthHeight, /, *, cell_m: float) -> EastNorthHeight:
    """(m, 3) mean place and height of the returns of each cell, in the order of a winding walk over the cells.

    Sums are taken in whole ticks of 2^-10 m (about 1 mm), so that they do not depend on the order of the returns.
    """
    if len(enh) == 0:
        return np.empty((0, 3))
    cell = np.floor(enh[:, :2] / cell_m).astype(np.int64)
    col, row = cell[:, 0], cell[:, 1]
    first_col, first_row = int(col.min()), int(row.min())
    cols = int(col.max()) - first_col + 1
    # Every other row runs backwards: each cell then lies near the one before, which the triangulation needs.
    walked = np.where(row % 2 == 0, col - first_col, first_col + cols - 1 - col)
    index = (row - first_row) * cols + walked
    count = np.bincount(index)
    used = np.flatnonzero(count)
    local = enh.copy()
    local[:, :2] -= (cell + 0.5) * cell_m
    ticks = np.rint(local * TICKS_PER_M)
    sums = [np.bincount(index, weights=ticks[:, axis])[used] / count[used] / TICKS_PER_M for axis in range(3)]
    row_used = used // cols + first_row
    walked_used = used % cols
    col_used = np.where(row_used % 2 == 0, walked_used, cols - 1 - walked_used) + first_col
    return np.column_stack(((col_used + 0.5) * cell_m + sums[0], (row_used + 0.5) * cell_m + sums[1], sums[2]))


def heights_at_nodes(
    nodes: EastNorthHeight, east: NDArray[np.float64], north: NDArray[np.float64], /
) -> NDArray[np.float64]:
    """(rows, cols) elevation of the triangulated nodes where the norths of the rows and the easts of the columns cross.

    Outside the triangles the elevation of the nearest node; without any node NaN. `nodes` come in winding order.
    """
    shape = len(north), len(east)
    if len(nodes) == 0:
        return np.full(shape, np.nan)
    origin = np.floor(nodes[:, :2].min(axis=0))
    local = (nodes - np.append(origin, 0.0))[_coarse_first(nodes)]
    walk = np.empty((*shape, 2))
    walk[::2, :, 0] = east - origin[0]
    walk[1::2, :, 0] = (east - origin[0])[::-1]
    walk[:, :, 1] = (north - origin[1])[:, None]
    places = walk.reshape(-1, 2)
    found = _interpolate(local, places)
    unknown = np.isnan(found)
    if unknown.any():
        found[unknown] = local[quick_tree(local[:, :2]).query(places[unknown])[1], 2]
    heights = found.reshape(shape)
    heights[1::2] = heights[1::2, ::-1].copy()
    return heights


def height_above(enh: EastNorthHeight, nodes: EastNorthHeight, /, *, cell_m: float) -> NDArray[np.float64]:
    """(n,) metres of each return above the triangulated nodes; NaN without any node.

    The surface is read from a grid of `cell_m`, bilinearly: far quicker than a look into the triangles for each return.
    The grid just holds the returns: within half a cell of its rim the surface counts as level.

    Parameters
    ----------
    enh : (n, 3) float64, metres
    nodes : (m, 3) float64, metres
        As `cell_means` gives them.
    """
    if len(enh) == 0 or len(nodes) == 0:
        return np.full(len(enh), np.nan)
    first = np.floor(enh[:, :2].min(axis=0) / cell_m)
    last = np.floor(enh[:, :2].max(axis=0) / cell_m)
    east, north = ((np.arange(first[axis], last[axis] + 1) + 0.5) * cell_m for axis in (0, 1))
    level = heights_at_nodes(nodes, east, north)
    return enh[:, 2] - bilinear(level, enh[:, 1] / cell_m - first[1] - 0.5, enh[:, 0] / cell_m - first[0] - 0.5)


def _coarse_first(nodes: EastNorthHeight, /) -> NDArray[np.intp]:
    """(n,) an order of the nodes: some of a wide lattice, then of lattices half as wide, and so on.

    The triangles then stay compact while they are made, which is three times as quick as row after row (Amenta, Choi
    and Rote 2003, doi:10.1145/777792.777824). The place alone decides, so that blocks agree where triangles tie.
    """
    cell = np.floor(nodes[:, :2] * 2).astype(np.int64)
    both = cell[:, 0] | cell[:, 1]
    # The lowest bit set in either: how wide the widest lattice is that the cell belongs to.
    width = np.minimum(both & -both, COARSEST)
    return np.argsort(-width, kind="stable")


def _interpolate(nodes: EastNorthHeight, places: EastNorth, /) -> NDArray[np.float64]:
    """(m,) linear interpolation in the Delaunay triangles; NaN outside."""
    triangulation = startinpy.DT()
    triangulation.snap_tolerance = 1e-4
    triangulation.insert(nodes)
    if len(nodes) < 3:
        return np.full(len(places), np.nan)
    heights: NDArray[np.float64] = triangulation.interpolate({"method": "TIN"}, places)
    heights *= TICKS_PER_M * 8
    np.rint(heights, out=heights)
    heights /= TICKS_PER_M * 8
    return heights


def quick_tree(places: EastNorth, /) -> cKDTree:
    """A tree for few questions: split at midpoints, which is quicker than at medians and finds the same."""
    return cKDTree(places, balanced_tree=False, compact_nodes=False)
