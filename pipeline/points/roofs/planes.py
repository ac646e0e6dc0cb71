"""Planes through the high last returns around each cell, by least squares, where hardly a pulse passed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.compiled import compiled
from pipeline.lattice.grid import Grid, Mask
from pipeline.lattice.per_cell import count_in_cells
from pipeline.points.roofs.returns import CELL_M, RoofReturns

WINDOW_M = 1.5
"""Side in metres of the window through whose returns a plane is drawn: narrower than a dormer. Wider windows blur
ridges and eaves. Our choice."""
WIDE_WINDOW_M = 2.5
"""Side in metres of the window where the narrow one holds too few returns: 6 returns at 1 pulse/m2, and still within a
shed. Our choice."""
SMALL_WINDOW_RETURNS = 7
"""Fewest returns in the narrow window; with fewer the wide one is taken. Our choice."""
MIN_RETURNS = 5
"""Fewest returns by which a plane is judged: three fit any plane. Our choice."""
MIN_CLOSED_RATIO = 0.8
"""Share of the pulses in a window that must end high, 0 to 1: a roof lets none through but at its edge, crowns many.
Our choice."""

Cells = NDArray[np.float64]
"""(rows, cols) or (k,) float64, one number a cell."""


@dataclass(frozen=True)
class Planes:
    """The plane through the high last returns around each cell; z = level + rise_east x + rise_north y at its centre.

    Attributes
    ----------
    level, rise_east, rise_north, residual_m : (rows, cols)
        NaN where there are too few returns; `residual_m` is the standard deviation about the plane.
    closed : (rows, cols), 0..1
        Share of the pulses that ended high; 1 where nothing came back from below.
    """

    level: Cells
    rise_east: Cells
    rise_north: Cells
    residual_m: Cells
    closed: Cells


def planes_of(returns: RoofReturns, /) -> Planes:
    """Planes from small windows where these hold enough returns, from wide ones elsewhere.

    They are drawn only where hardly a pulse passed, since nothing else can be a roof.
    """
    sums = _cell_sums(returns)
    small_cells, wide_cells = (_odd(length / CELL_M) for length in (WINDOW_M, WIDE_WINDOW_M))
    in_small = _WindowSums(sums, small_cells)
    in_wide = _WindowSums(sums, wide_cells)
    is_thin = in_small.n_high < SMALL_WINDOW_RETURNS
    small, wide = (
        _fit(window, window.may_be_roof() & where, returns.grid)
        for window, where in ((in_small, ~is_thin), (in_wide, is_thin))
    )
    return Planes(*(np.where(is_thin, b, a) for a, b in zip(_columns(small), _columns(wide), strict=True)))


def _columns(planes: Planes) -> tuple[Cells, ...]:
    return planes.level, planes.rise_east, planes.rise_north, planes.residual_m, planes.closed


def _odd(cells: float) -> int:
    """The odd number nearest to a number of cells."""
    return max(1, 2 * round((cells - 1) / 2) + 1)


def _cell_sums(returns: RoofReturns) -> list[Cells]:
    """Per cell: count of low last returns, then count and sums of x, y, z and their products of the high ones."""
    shape, which = returns.grid.shape, np.flatnonzero(returns.is_high_last)
    low = count_in_cells(returns.cell[returns.is_low_last], shape).astype(float)
    sums = np.zeros((10, shape[0] * shape[1]))
    _add_moments(sums, returns.cell[which], *returns.places(which))
    return [low, *sums.reshape(10, *shape)]


@compiled
def _add_moments(sums: Cells, cell: NDArray[np.int64], x: Cells, y: Cells, z: Cells) -> None:
    """Add 1, x, y, z and their products of every return to the sums, (10, cells), of its cell."""
    for i in range(len(cell)):
        at, e, n, h = cell[i], x[i], y[i], z[i]
        sums[0, at] += 1.0
        sums[1, at] += e
        sums[2, at] += n
        sums[3, at] += h
        sums[4, at] += e * e
        sums[5, at] += n * n
        sums[6, at] += e * n
        sums[7, at] += e * h
        sums[8, at] += n * h
        sums[9, at] += h * h


class _WindowSums:
    """The sums over the window of `size` by `size` cells about each cell; those that only planes need are made late."""

    def __init__(self, sums: list[Cells], size: int) -> None:
        self.size = size
        self._moments = sums[2:]
        self.n_low, self.n_high = (np.round(self._around(total)) for total in sums[:2])

    def _around(self, total: Cells) -> Cells:
        around: Cells = ndimage.uniform_filter(total, self.size, mode="constant")
        around *= self.size**2
        return around

    @cached_property
    def closed(self) -> Cells:
        """(rows, cols) 0..1: share of the pulses that ended high."""
        return self.n_high / np.maximum(self.n_high + self.n_low, 1)

    def may_be_roof(self) -> Mask:
        """(rows, cols) bool: enough high returns, and hardly a pulse that passed."""
        may: Mask = (self.n_high >= MIN_RETURNS) & (self.closed >= MIN_CLOSED_RATIO)
        return may

    def moments(self, cells: NDArray[np.intp]) -> list[Cells]:
        """(k,) each: sums of x, y, z, xx, yy, xy, xz, yz, zz at some cells, by their flat index."""
        row, col = np.divmod(cells, self._moments[0].shape[1])
        return [_summed_at(moment, row, col, self.size // 2) for moment in self._moments]


@compiled
def _summed_at(values: Cells, row: NDArray[np.intp], col: NDArray[np.intp], half: int) -> Cells:
    """(k,) sum over the square window about each of some cells; nothing lies beyond the rim."""
    found = np.zeros(len(row))
    rows, cols = values.shape
    for i in range(len(row)):
        for r in range(max(row[i] - half, 0), min(row[i] + half + 1, rows)):
            for c in range(max(col[i] - half, 0), min(col[i] + half + 1, cols)):
                found[i] += values[r, c]
    return found


def _fit(window: _WindowSums, where: Mask, grid: Grid, /) -> Planes:
    """Least-squares plane of the window about each of the chosen cells; NaN elsewhere."""
    made = np.full((4, where.size), np.nan)
    cells = np.flatnonzero(where)
    if len(cells):
        made[:, cells] = _planes_at(window, cells, grid)
    level, rise_east, rise_north, residual_m = made.reshape(4, *where.shape)
    return Planes(level, rise_east, rise_north, residual_m, window.closed)


def _planes_at(window: _WindowSums, cells: NDArray[np.intp], grid: Grid, /) -> tuple[Cells, Cells, Cells, Cells]:
    """(k,) each: level, rise to the east and north, and standard deviation about the plane, at some cells."""
    per = np.maximum(window.n_high.ravel()[cells], 1)
    x, y, z, xx, yy, xy, xz, yz, zz = (moment / per for moment in window.moments(cells))
    xx, yy, xy, xz, yz, zz = xx - x * x, yy - y * y, xy - x * y, xz - x * z, yz - y * z, zz - z * z
    spread = xx * yy - xy * xy
    # Returns in one line fit any plane: the spread of a full window is size^4 / 144, a tenth of that must be there.
    spread[~(spread > 0.1 * (window.size * grid.cell_m) ** 4 / 144)] = np.nan
    rise_east, rise_north = (xz * yy - yz * xy) / spread, (yz * xx - xz * xy) / spread
    rest = np.maximum(zz - rise_east * xz - rise_north * yz, 0) * per / np.maximum(per - 3, 1)
    east, north = grid.centres()
    row, col = np.divmod(cells, grid.cols)
    level = z + rise_east * ((east - grid.west_m)[col] - x) + rise_north * ((north - grid.north_m)[row] - y)
    return level, rise_east, rise_north, np.sqrt(rest)


def off_plane(returns: RoofReturns, planes: Planes, facets: Mask, /, *, reach_m: float) -> NDArray[np.float64]:
    """(n,) metres of each return above the plane of the nearest facet cell; infinite beyond `reach_m` of one."""
    cell_m = returns.grid.cell_m
    gap, (row, col) = ndimage.distance_transform_edt(~facets, return_indices=True)
    nearest = (row * facets.shape[1] + col).ravel()
    near = np.flatnonzero((gap.ravel() * cell_m <= reach_m)[returns.cell])
    at = nearest[returns.cell[near]]
    r, c = np.divmod(at, facets.shape[1])
    east, north, height = returns.places(near)
    east, north = east - (c + 0.5) * cell_m, north + (r + 0.5) * cell_m
    level = (v.ravel()[at] for v in (planes.level, planes.rise_east, planes.rise_north))
    up, rise_east, rise_north = level
    off = np.full(len(returns.cell), np.inf)
    off[near] = height - (up + rise_east * east + rise_north * north)
    return off
