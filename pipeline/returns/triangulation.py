"""The surface between returns: their triangulation, and heights read from it."""

from __future__ import annotations

import math

import numpy as np
import startinpy
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorth, EastNorthHeight, Mask
from pipeline.lattice.sampling import bilinear
from pipeline.returns.buckets import Buckets

TICKS_PER_M = 1024.0
"""Ticks to the metre in which places and heights are summed: a power of two, and about 1 mm, so that floating point
adds them without error and the order of the returns decides nothing."""
COARSEST = 64
"""Side, in half metres, of the cells of the widest lattice whose nodes are triangulated first: wider lattices hold too
few nodes to matter. Decides speed alone."""
MOST_RADIUS_M = 30.0
"""Radius in metres of the circle through the corners of a triangle up to which the ground is read from it. No node lies
in that circle, so what lies farther than its width decides nothing, and blocks that see twice this far around agree.
Wider triangles lie along the rim of a survey, where they bridge bays between nodes hundreds of metres apart, and across
lakes. Our choice: wide enough for the largest halls."""
EDGE = 1e-9
"""How far outside a triangle a place may lie and still be on its edge, as a share of the triangle: rounding."""


def cell_means(enh: EastNorthHeight, /, *, cell_m: float) -> EastNorthHeight:
    """(m, 3) mean place and height of the returns of each cell, in the order of a winding walk over the cells.

    Sums are taken in whole ticks of 2^-10 m (about 1 mm), so that they do not depend on the order of the returns.
    """
    if len(enh) == 0:
        return np.empty((0, 3))
    west_col, south_row = (math.floor(enh[:, axis].min() / cell_m) for axis in (0, 1))
    cols = math.floor(enh[:, 0].max() / cell_m) - west_col + 1
    rows = math.floor(enh[:, 1].max() / cell_m) - south_row + 1
    return _means_in_cells(enh, cell_m, west_col, south_row, rows, cols)


@compiled
def _means_in_cells(
    enh: EastNorthHeight, cell_m: float, west_col: int, south_row: int, rows: int, cols: int
) -> EastNorthHeight:
    """As `cell_means`. Every other row runs backwards: each cell then lies near the one before."""
    count = np.zeros(rows * cols, np.int64)
    sums = np.zeros((rows * cols, 3))
    for i in range(len(enh)):
        col, row = math.floor(enh[i, 0] / cell_m), math.floor(enh[i, 1] / cell_m)
        col_in, row_in = col - west_col, row - south_row
        at = row_in * cols + (col_in if row % 2 == 0 else cols - 1 - col_in)
        count[at] += 1
        sums[at, 0] += np.rint((enh[i, 0] - (col + 0.5) * cell_m) * TICKS_PER_M)
        sums[at, 1] += np.rint((enh[i, 1] - (row + 0.5) * cell_m) * TICKS_PER_M)
        sums[at, 2] += np.rint(enh[i, 2] * TICKS_PER_M)
    means = np.empty((np.count_nonzero(count), 3))
    n = 0
    for at in range(rows * cols):
        if count[at]:
            row = at // cols + south_row
            col = (at % cols if row % 2 == 0 else cols - 1 - at % cols) + west_col
            means[n, 0] = (col + 0.5) * cell_m + sums[at, 0] / count[at] / TICKS_PER_M
            means[n, 1] = (row + 0.5) * cell_m + sums[at, 1] / count[at] / TICKS_PER_M
            means[n, 2] = sums[at, 2] / count[at] / TICKS_PER_M
            n += 1
    return means


def heights_at_nodes(
    nodes: EastNorthHeight, east: NDArray[np.float64], north: NDArray[np.float64], /
) -> NDArray[np.float64]:
    """(rows, cols) elevation of the triangulated nodes where the norths of the rows and the easts of the columns cross.

    Where no triangle is small enough (`MOST_RADIUS_M`), the elevation of the nearest node; without any node NaN.

    Parameters
    ----------
    nodes : (n, 3) float64, metres
        As `cell_means` gives them.
    east, north : (cols,) and (rows,) float64, metres
        Evenly spaced.
    """
    return Triangulated(nodes).heights(east, north)


class Triangulated:
    """Nodes and the Delaunay triangulation of them, which can follow a few nodes that come and go.

    Parameters
    ----------
    nodes : (n, 3) float64, metres
        As `cell_means` gives them.
    """

    def __init__(self, nodes: EastNorthHeight, /) -> None:
        self._origin = np.append(np.floor(nodes[:, :2].min(axis=0)), 0.0) if len(nodes) else np.zeros(3)
        self._nodes = (nodes - self._origin)[_coarse_first(nodes)]
        self._triangles = _triangulated(self._nodes)

    def changed(self, gone: EastNorthHeight, new: EastNorthHeight, /) -> Triangulated:
        """The triangulation without some of its nodes and with new ones; this one is used up.

        Where few nodes change that takes a tenth of the time of a new triangulation. The triangles are those of a new
        one but where four nodes and more lie on one circle, which leaves a choice.

        Parameters
        ----------
        gone, new : (n, 3) float64, metres
            No node of `new` may be in the triangulation.
        """
        left = self._nodes[~_in(self._nodes, gone - self._origin)]
        is_whole = self._triangles.number_of_vertices() == len(self._nodes)
        few = is_whole and len(gone) + len(new) <= MOST_CHANGED_SHARE * len(left)
        inner = self._inner_vertices(gone) if few else None
        if inner is None:
            return Triangulated(np.concatenate((left + self._origin, new)))
        for vertex in inner:
            self._triangles.remove(vertex)
        new = (new - self._origin)[_coarse_first(new)]
        self._triangles.insert(new)
        self._nodes = np.concatenate((left, new))
        return self

    def _inner_vertices(self, nodes: EastNorthHeight) -> list[int] | None:
        """Numbers that the triangulation gives to some of its nodes; None where one is a corner of its outline.

        Such a corner cannot be taken out: what lies behind it would be left without a triangle.
        """
        found: list[int] = []
        for place in (nodes - self._origin)[:, :2]:
            try:
                vertex = self._triangles.closest_point(place)
            except Exception:  # it raises nothing narrower; rounding may put a corner beyond the outline
                return None
            if self._triangles.is_vertex_convex_hull(vertex):
                return None
            found.append(vertex)
        return found

    def heights(self, east: NDArray[np.float64], north: NDArray[np.float64], /) -> NDArray[np.float64]:
        """As `heights_at_nodes`."""
        shape = len(north), len(east)
        if len(self._nodes) == 0:
            return np.full(shape, np.nan)
        east, north = east - self._origin[0], north - self._origin[1]
        found = np.full(shape, np.nan)
        if len(self._nodes) >= 3:
            corners = self._triangles.triangles.astype(np.int64)
            _fill_triangles(found, self._triangles.points, corners, east, north, MOST_RADIUS_M)
        row, col = np.nonzero(np.isnan(found))
        if len(row):
            places = np.column_stack((east[col], north[row]))
            found[row, col] = self._nodes[nearest_places(self._nodes[:, :2], places)[1], 2]
        return found


MOST_CHANGED_SHARE = 0.1
"""Share of the nodes up to which a triangulation is changed node by node; of more it is made anew."""


def _in(nodes: EastNorthHeight, some: EastNorthHeight) -> Mask:
    """(n,) bool: nodes whose place is that of one of some others."""
    place, others = (which[:, 0] + 1j * which[:, 1] for which in (nodes, some))
    at = np.searchsorted(others := np.sort(others), place)
    found: Mask = np.append(others, np.nan)[at] == place
    return found


@compiled
def _fill_triangles(
    found: NDArray[np.float64],
    points: EastNorthHeight,
    corners: NDArray[np.int64],
    east: NDArray[np.float64],
    north: NDArray[np.float64],
    most_radius_m: float,
) -> None:
    """Write into (rows, cols) the elevation at each crossing that lies in a triangle or on its edge."""
    rows, cols = found.shape
    step_east = (east[-1] - east[0]) / max(cols - 1, 1)
    step_north = (north[-1] - north[0]) / max(rows - 1, 1)
    for t in range(len(corners)):
        ax, ay, az = points[corners[t, 0]]
        bx, by, bz = points[corners[t, 1]]
        cx, cy, cz = points[corners[t, 2]]
        bx, by, cx, cy = bx - ax, by - ay, cx - ax, cy - ay
        twice = bx * cy - by * cx
        if twice == 0:
            continue
        bb, cc = bx * bx + by * by, cx * cx + cy * cy
        middle_x, middle_y = (cy * bb - by * cc) / (2 * twice), (bx * cc - cx * bb) / (2 * twice)
        if middle_x * middle_x + middle_y * middle_y > most_radius_m * most_radius_m:
            continue
        low_x, high_x = ax + min(0.0, bx, cx), ax + max(0.0, bx, cx)
        low_y, high_y = ay + min(0.0, by, cy), ay + max(0.0, by, cy)
        first_col, last_col = _crossings(low_x, high_x, east[0], step_east, cols)
        first_row, last_row = _crossings(low_y, high_y, north[0], step_north, rows)
        for row in range(first_row, last_row + 1):
            y = north[row] - ay
            for col in range(first_col, last_col + 1):
                x = east[col] - ax
                of_b, of_c = (x * cy - y * cx) / twice, (bx * y - by * x) / twice
                of_a = 1.0 - of_b - of_c
                if of_a >= -EDGE and of_b >= -EDGE and of_c >= -EDGE:
                    # Rounded, so that both triangles of an edge give the same.
                    level = of_a * az + of_b * bz + of_c * cz
                    found[row, col] = np.rint(level * (TICKS_PER_M * 8)) / (TICKS_PER_M * 8)


@compiled
def _crossings(low: float, high: float, first: float, step: float, n: int) -> tuple[int, int]:
    """The first and the last of evenly spaced places between two figures; the step may be negative."""
    if step == 0:
        return 0, n - 1
    a, b = (low - first) / step, (high - first) / step
    if a > b:
        a, b = b, a
    return max(0, math.ceil(a - 1e-6)), min(n - 1, math.floor(b + 1e-6))


def height_above(enh: EastNorthHeight, nodes: EastNorthHeight, /, *, cell_m: float) -> NDArray[np.float64]:
    """(n,) metres of each return above the triangulated nodes; NaN without any node.

    The surface is read from a grid of `cell_m`, bilinearly: far quicker than a look into the triangles for each return.
    The grid reaches a cell beyond the returns, so that no height depends on where they end.

    Parameters
    ----------
    enh : (n, 3) float64, metres
    nodes : (m, 3) float64, metres
        As `cell_means` gives them.
    """
    if len(enh) == 0 or len(nodes) == 0:
        return np.full(len(enh), np.nan)
    first = np.floor(enh[:, :2].min(axis=0) / cell_m) - 1
    last = np.floor(enh[:, :2].max(axis=0) / cell_m) + 1
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


def _triangulated(nodes: EastNorthHeight, /) -> startinpy.DT:
    """The Delaunay triangulation of nodes."""
    triangulation = startinpy.DT()
    triangulation.snap_tolerance = 1e-4
    triangulation.insert(nodes)
    return triangulation


def nearest_places(places: EastNorth, asked: EastNorth, /) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Metres from each of k points to the nearest of n places, (k,), and the number of that; there must be a place.

    Parameters
    ----------
    places : (n, 2)
    asked : (k, 2)
    """
    east, north = np.ascontiguousarray(asked.T)
    distance_m, number = Buckets.of(*np.ascontiguousarray(places.T)).nearest(east, north, most_m=MOST_SEARCHED_M)
    far = number < 0
    if far.any():
        distance_m[far], number[far] = cKDTree(places, balanced_tree=False, compact_nodes=False).query(asked[far])
    return distance_m, number


MOST_SEARCHED_M = 8.0
"""Distance in metres up to which the nearest place is sought in buckets, which are made five times as quickly as a
tree; farther out a tree is quicker. Decides speed alone."""
