"""Roofs: returns from smooth, closed planes well above the ground, with a drop at their edge."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.grid import Grid, Mask
from pipeline.points.cloud import Cloud
from pipeline.settings import RoofSettings
from pipeline.windows import highest_around

Cells = NDArray[np.float64]
"""(rows, cols) float64, one number a cell."""
BRIDGE = 17
"""ASPRS LAS 1.4 R15, table 17: bridge deck."""


@dataclass(frozen=True)
class _Planes:
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


@dataclass(frozen=True)
class _Returns:
    """What the search looks at: cells and places of all returns, metres from a corner of the lattice."""

    grid: Grid
    cell: NDArray[np.int64]
    east: NDArray[np.float64]
    north: NDArray[np.float64]
    height: NDArray[np.float64]
    above_m: NDArray[np.float32]
    is_high_last: Mask
    is_low_last: Mask


def find_roofs(
    cloud: Cloud, height_above_m: NDArray[np.float32], is_candidate: Mask, /, *, settings: RoofSettings
) -> Mask:
    """Which returns come from roofs (ASPRS class 6).

    A roof is a patch of smooth planes that hardly a pulse passes, large enough for a hut, that ends in a drop.
    All of it is told on the lattice; the reach is the size of a building, and every test of a patch is met by a part
    of it too, so that a building cut by the far rim of the halo is still one.

    Parameters
    ----------
    cloud : Cloud
    height_above_m : (n,) float32
        Above the bare earth; NaN is never roof.
    is_candidate : (n,) bool
        Neither ground nor noise nor water. Returns that the producer called bridge are left out here.

    Returns
    -------
    (n,) bool
    """
    if len(cloud) == 0:
        return np.zeros(0, bool)
    returns = _look(cloud, height_above_m, is_candidate, settings=settings)
    nothing = np.zeros(len(cloud), bool)
    if not returns.is_high_last.any():
        return nothing
    planes = _planes(returns, settings=settings)
    facets = _without_specks(_smooth_cells(planes, settings=settings), settings.min_facet_m2 / settings.cell_m**2)
    if not facets.any():
        return nothing
    off_plane_m = _off_plane(returns, planes, facets, reach_m=settings.eaves_m)
    on_plane = np.abs(off_plane_m) <= settings.plane_tolerance_m
    roofs = _patches(returns, facets, on_plane, settings=settings)
    stands_on_it = (off_plane_m > 0) & (off_plane_m <= settings.chimney_m) & cloud.is_last
    # A pulse that ends below a roof's edge has met a wall, or what leans on it.
    is_wall = (off_plane_m < 0) & np.isfinite(off_plane_m) & cloud.is_last
    edge = ndimage.binary_dilation(roofs, np.ones((3, 3), bool))
    holes = _enclosed(roofs, settings=settings)
    in_roof, in_hole, at_edge = (cells.ravel()[returns.cell] for cells in (roofs, holes, edge))
    may_be = is_candidate & (height_above_m >= settings.wall_from_m) & (cloud.producer_class != BRIDGE)
    found: Mask = may_be & ((in_roof & on_plane) | (in_hole & stands_on_it) | (at_edge & is_wall))
    return found


def _look(
    cloud: Cloud, height_above_m: NDArray[np.float32], is_candidate: Mask, /, *, settings: RoofSettings
) -> _Returns:
    """The returns on the lattice; first and middle returns are placed but decide nothing, as leaves give them too."""
    cell_m = settings.cell_m
    west, south, east, north = cloud.east.min(), cloud.north.min(), cloud.east.max(), cloud.north.max()
    grid = Grid.covering((west, south, east + cell_m, north + cell_m), cell_m=cell_m, crs="")
    decides = cloud.is_last & cloud.is_usable & (cloud.producer_class != BRIDGE)
    is_high = (height_above_m >= settings.min_height_m) & (height_above_m <= settings.max_height_m)
    is_high_last = decides & is_candidate & is_high
    return _Returns(
        grid=grid,
        cell=grid.cell_index(cloud.east, cloud.north),
        east=cloud.east - grid.west_m,
        north=cloud.north - grid.north_m,
        height=cloud.height - float(cloud.height.min()),
        above_m=height_above_m,
        is_high_last=is_high_last,
        is_low_last=decides & ~np.isnan(height_above_m) & (height_above_m < settings.min_height_m),
    )


def _planes(returns: _Returns, /, *, settings: RoofSettings) -> _Planes:
    """Planes from small windows where these hold enough returns, from wide ones elsewhere.

    They are drawn only where hardly a pulse passed, since nothing else can be a roof.
    """
    sums = _cell_sums(returns)
    small_cells, wide_cells = (_odd(length / settings.cell_m) for length in (settings.window_m, settings.wide_window_m))
    in_small = _WindowSums(sums, small_cells)
    in_wide = _WindowSums(sums, wide_cells)
    is_thin = in_small.n_high < settings.small_window_returns
    small, wide = (
        _fit(window, window.may_be_roof(settings) & where, returns.grid)
        for window, where in ((in_small, ~is_thin), (in_wide, is_thin))
    )
    return _Planes(*(np.where(is_thin, b, a) for a, b in zip(_columns(small), _columns(wide), strict=True)))


def _columns(planes: _Planes) -> tuple[Cells, ...]:
    return planes.level, planes.rise_east, planes.rise_north, planes.residual_m, planes.closed


def _odd(cells: float) -> int:
    """The odd number nearest to a number of cells."""
    return max(1, 2 * round((cells - 1) / 2) + 1)


def _cell_sums(returns: _Returns) -> list[Cells]:
    """Per cell: count of low last returns, then count and sums of x, y, z and their products of the high ones."""
    shape, which = returns.grid.shape, returns.is_high_last
    x, y, z, cell = (v[which] for v in (returns.east, returns.north, returns.height, returns.cell))
    low = np.bincount(returns.cell[returns.is_low_last], minlength=shape[0] * shape[1]).reshape(shape).astype(float)
    weights = (np.ones(len(x)), x, y, z, x * x, y * y, x * y, x * z, y * z, z * z)
    return [low, *(np.bincount(cell, w, minlength=shape[0] * shape[1]).reshape(shape) for w in weights)]


class _WindowSums:
    """The sums of the window of `size` cells about each cell; those that only planes need are made when asked for."""

    def __init__(self, sums: list[Cells], size: int) -> None:
        self.size = size
        self._moments = sums[2:]
        self.n_low, self.n_high = (np.round(self._around(total)) for total in sums[:2])

    def _around(self, total: Cells) -> Cells:
        around: Cells = ndimage.uniform_filter(total, self.size, mode="constant")
        around *= self.size**2
        return around

    @property
    def closed(self) -> Cells:
        """(rows, cols) 0..1: share of the pulses that ended high."""
        return self.n_high / np.maximum(self.n_high + self.n_low, 1)

    def may_be_roof(self, settings: RoofSettings) -> Mask:
        """(rows, cols) bool: enough high returns, and hardly a pulse that passed."""
        may: Mask = (self.n_high >= settings.min_returns) & (self.closed >= settings.min_closed_ratio)
        return may

    def moments(self, cells: NDArray[np.intp]) -> list[Cells]:
        """(k,) each: sums of x, y, z, xx, yy, xy, xz, yz, zz at some cells, by their flat index."""
        return [self._around(moment).ravel()[cells] for moment in self._moments]


def _fit(window: _WindowSums, where: Mask, grid: Grid, /) -> _Planes:
    """Least-squares plane of the window about each of the chosen cells; NaN elsewhere."""
    made = np.full((4, where.size), np.nan)
    cells = np.flatnonzero(where)
    if len(cells):
        made[:, cells] = _planes_at(window, cells, grid)
    level, rise_east, rise_north, residual_m = made.reshape(4, *where.shape)
    return _Planes(level, rise_east, rise_north, residual_m, window.closed)


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


def _smooth_cells(planes: _Planes, /, *, settings: RoofSettings) -> Mask:
    """(rows, cols) bool: cells amid a plane that no pulse passed."""
    slope = np.hypot(planes.rise_east, planes.rise_north)
    smooth: Mask = (
        (planes.closed >= settings.min_closed_ratio)
        & (planes.residual_m <= settings.max_residual_m)
        & (slope <= math.tan(math.radians(settings.max_slope_deg)))
    )
    return smooth


def _without_specks(cells: Mask, least_cells: float) -> Mask:
    """The connected pieces (by edges) of at least so many cells."""
    pieces, _ = ndimage.label(cells)
    large = np.bincount(pieces.ravel()) >= least_cells
    large[0] = False
    return large[pieces]


def _off_plane(returns: _Returns, planes: _Planes, facets: Mask, /, *, reach_m: float) -> NDArray[np.float64]:
    """(n,) metres of each return above the plane of the nearest facet cell; infinite beyond `reach_m` of one."""
    cell_m = returns.grid.cell_m
    gap, (row, col) = ndimage.distance_transform_edt(~facets, return_indices=True)
    nearest = (row * facets.shape[1] + col).ravel()
    near = np.flatnonzero((gap.ravel() * cell_m <= reach_m)[returns.cell])
    at = nearest[returns.cell[near]]
    r, c = np.divmod(at, facets.shape[1])
    east = returns.east[near] - (c + 0.5) * cell_m
    north = returns.north[near] + (r + 0.5) * cell_m
    level = (v.ravel()[at] for v in (planes.level, planes.rise_east, planes.rise_north))
    up, rise_east, rise_north = level
    off = np.full(len(returns.cell), np.inf)
    off[near] = returns.height[near] - (up + rise_east * east + rise_north * north)
    return off


def _patches(returns: _Returns, facets: Mask, on_plane: Mask, /, *, settings: RoofSettings) -> Mask:
    """(rows, cols) bool: cells of the patches that are roofs by size, smoothness, shape and the drop at their edge."""
    size = facets.size
    hits = np.bincount(returns.cell[on_plane & returns.is_high_last], minlength=size)
    misses = np.bincount(returns.cell[~on_plane & returns.is_high_last], minlength=size)
    patch_cells = facets | ((hits > 0) & (hits >= misses)).reshape(facets.shape)
    patches, count = ndimage.label(patch_cells, np.ones((3, 3)))
    flush = np.bincount(returns.cell[on_plane & returns.is_low_last], minlength=size).reshape(facets.shape) > 0
    area = np.bincount(patches.ravel(), minlength=count + 1)
    smooth = np.bincount(patches[facets], minlength=count + 1) / np.maximum(area, 1)
    rim = _rim(patches)
    rim_cells = np.maximum(np.bincount(rim.ravel(), minlength=count + 1), 1)
    runs_on = np.bincount(rim[flush], minlength=count + 1) / rim_cells
    keep = (
        (area * settings.cell_m**2 >= settings.min_patch_m2)
        & (smooth >= settings.min_smooth_ratio)
        & (runs_on <= settings.max_flush_ratio)
    )
    keep[0] = False
    tops = on_plane & returns.is_high_last
    keep &= ~_boulders(patches, returns, tops, keep & (area * settings.cell_m**2 <= settings.boulder_max_m2), settings)
    kept: Mask = keep[patches]
    return kept


def _boulders(
    patches: NDArray[np.signedinteger], returns: _Returns, tops: Mask, is_small: Mask, settings: RoofSettings
) -> Mask:
    """(patches + 1,) bool: small patches that are low, and round without corners or domed.

    A roof falls one way or two from a ridge and runs level along it; a dome falls along every axis. Tents and hipped
    roofs do so too, but fill a rectangle.
    Roundness is 4 pi area / perimeter^2 of the convex hull: 1 for a disc, 0.785 for a square (isoperimetric quotient).
    A disc fills 0.785 of the rectangle about it, a hut nearly all: at 4 returns/m2 its hull still fills 0.88.
    """
    found = np.zeros(len(is_small), bool)
    patch = patches.ravel()[returns.cell]
    mine = np.flatnonzero(tops & is_small[patch])
    for number in np.unique(patch[mine]):
        of_it = mine[patch[mine] == number]
        if returns.above_m[of_it].mean() > settings.boulder_max_height_m:
            continue
        hull = shapely.MultiPoint(np.column_stack([returns.east[of_it], returns.north[of_it]])).convex_hull
        fill_ratio = hull.area / max(hull.minimum_rotated_rectangle.area, 1e-9)
        is_round = 4 * math.pi * hull.area > settings.boulder_roundness * hull.length**2
        bend_per_m = _least_bend_per_m(returns.east[of_it], returns.north[of_it], returns.height[of_it])
        is_domed = bend_per_m >= settings.boulder_min_bend_per_m and fill_ratio < settings.tent_fill_ratio
        found[number] = (is_round and fill_ratio < settings.hut_fill_ratio) or is_domed
    return found


def _least_bend_per_m(east: NDArray[np.float64], north: NDArray[np.float64], height: NDArray[np.float64]) -> float:
    """How fast a quadratic surface through the returns falls off, in m/m2, along the axis in which it falls least."""
    e, n = east - east.mean(), north - north.mean()
    found = np.linalg.lstsq(np.column_stack((np.ones(len(e)), e, n, e * e, e * n, n * n)), height, rcond=None)[0]
    curve = np.array([[found[3], found[4] / 2], [found[4] / 2, found[5]]])
    return float(-np.linalg.eigvalsh(curve).max())


def _rim(patches: NDArray[np.signedinteger]) -> NDArray[np.int32]:
    """(rows, cols) number of the patch that a cell outside is next to, up to two cells away; 0 elsewhere."""
    spread = highest_around(patches, 2)
    return np.where(patches > 0, 0, spread).astype(np.int32)


def _enclosed(roofs: Mask, /, *, settings: RoofSettings) -> Mask:
    """(rows, cols) bool: small holes in roofs, left by what stands on them."""
    holes = ndimage.binary_fill_holes(roofs) & ~roofs
    return holes & ~_without_specks(holes, settings.max_hole_m2 / settings.cell_m**2)
