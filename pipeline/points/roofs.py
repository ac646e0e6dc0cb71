"""Roofs: returns from smooth, closed planes well above the ground, with a drop at their edge."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Grid, Mask
from pipeline.lattice.per_cell import count_in_cells, sum_in_cells
from pipeline.lattice.windows import highest_around
from pipeline.returns.asprs import BRIDGE
from pipeline.returns.cloud import Cloud
from pipeline.settings import RoofSettings

CELL_M = 0.5
"""Cells in which roofs are told: a sixth of a shed, and 1 return at 4 pulses/m2."""
WINDOW_M = 1.5
"""Side of the window a plane is fitted in: narrower than a dormer."""
WIDE_WINDOW_M = 2.5
"""The same where returns are few: 6 returns at 1 pulse/m2, still within a shed."""
SMALL_WINDOW_RETURNS = 7
"""With fewer returns in the window the wide one is taken."""
MIN_RETURNS = 5
"""Fewest returns a plane is judged by: three fit any plane."""
MIN_HEIGHT_M = 2.0
"""Lowest roof: what a person can stand under; common practice, no source."""
MAX_HEIGHT_M = 40.0
"""Highest roof looked for: what stands in or near a forest is lower."""
MAX_RESIDUAL_M = 0.12
"""Roughest roof: tiles and the noise of a survey give 0.03 to 0.08, crowns 0.5."""
MAX_SLOPE_DEG = 60.0
"""Steeper planes are walls; steep roofs reach 60 degrees."""
MIN_CLOSED_RATIO = 0.8
"""Share of pulses that must end on the plane; a roof lets none through but at its edge."""
MIN_FACET_M2 = 2.0
"""Smallest piece of smooth plane; crowns have smooth spots of one or two cells."""
EAVES_M = 1.5
"""How far a plane is followed beyond its smooth cells: a window's width, to the eaves."""
PLANE_TOLERANCE_M = 0.35
"""Distance of roof returns from the plane: three times the roughest roof."""
MIN_SMOOTH_RATIO = 0.3
"""Share of smooth cells in a patch: 0.37 in a square of 4 m, whose edge is 0.75 m wide."""
MAX_FLUSH_RATIO = 0.15
"""Share of the edge at which low returns carry the plane on: slopes and banks, not eaves."""
MAX_HOLE_M2 = 6.0
"""Largest hole filled: chimneys and dormers."""
CHIMNEY_M = 2.5
"""How far what stands on a roof may rise above its plane."""
WALL_FROM_M = 1.0
"""Lowest returns of a building's walls and eaves: above grass and what lies about."""
BOULDER_MAX_M2 = 64.0
"""Largest patch that may be the top of a boulder: 9 m across."""
BOULDER_MAX_HEIGHT_M = 5.0
"""Mean height of a patch above which it is no boulder: rock as high is rare."""
BOULDER_ROUNDNESS = 0.8
"""Low small patches may be boulders if rounder than this: a square has 0.785."""
HUT_FILL_RATIO = 0.87
"""They are huts if they fill this share of a rectangle: a disc fills 0.785."""
BOULDER_MIN_BEND_PER_M = 0.04
"""Low small patches may be boulders if they fall off along every axis, by this times the square of the distance: a
dome of 4 m over 8 m has 0.1, huts show 0.01 (measured on planted tiles)."""
TENT_FILL_RATIO = 0.92
"""Domed patches that fill this share of a rectangle are tent roofs: boulders fill 0.72 to 0.89."""

Cells = NDArray[np.float64]
"""(rows, cols) float64, one number a cell."""


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
    returns = _look(cloud, height_above_m, is_candidate)
    nothing = np.zeros(len(cloud), bool)
    if not returns.is_high_last.any():
        return nothing
    planes = _planes(returns)
    facets = _without_specks(_smooth_cells(planes), MIN_FACET_M2 / CELL_M**2)
    if not facets.any():
        return nothing
    off_plane_m = _off_plane(returns, planes, facets, reach_m=EAVES_M)
    on_plane = np.abs(off_plane_m) <= PLANE_TOLERANCE_M
    roofs = _patches(returns, facets, on_plane, settings=settings)
    stands_on_it = (off_plane_m > 0) & (off_plane_m <= CHIMNEY_M) & cloud.is_last
    # A pulse that ends below a roof's edge has met a wall, or what leans on it.
    is_wall = (off_plane_m < 0) & np.isfinite(off_plane_m) & cloud.is_last
    edge = ndimage.binary_dilation(roofs, np.ones((3, 3), bool))
    holes = _enclosed(roofs)
    in_roof, in_hole, at_edge = (cells.ravel()[returns.cell] for cells in (roofs, holes, edge))
    may_be = is_candidate & (height_above_m >= WALL_FROM_M) & (cloud.producer_class != BRIDGE)
    found: Mask = may_be & ((in_roof & on_plane) | (in_hole & stands_on_it) | (at_edge & is_wall))
    return found


def _look(cloud: Cloud, height_above_m: NDArray[np.float32], is_candidate: Mask, /) -> _Returns:
    """The returns on the lattice; first and middle returns are placed but decide nothing, as leaves give them too."""
    cell_m = CELL_M
    west, south, east, north = cloud.east.min(), cloud.north.min(), cloud.east.max(), cloud.north.max()
    grid = Grid.covering((west, south, east + cell_m, north + cell_m), cell_m=cell_m, crs="")
    decides = cloud.is_last & cloud.is_usable & (cloud.producer_class != BRIDGE)
    is_high = (height_above_m >= MIN_HEIGHT_M) & (height_above_m <= MAX_HEIGHT_M)
    is_high_last = decides & is_candidate & is_high
    return _Returns(
        grid=grid,
        cell=grid.cell_index(cloud.east, cloud.north),
        east=cloud.east - grid.west_m,
        north=cloud.north - grid.north_m,
        height=cloud.height - float(cloud.height.min()),
        above_m=height_above_m,
        is_high_last=is_high_last,
        is_low_last=decides & ~np.isnan(height_above_m) & (height_above_m < MIN_HEIGHT_M),
    )


def _planes(returns: _Returns, /) -> _Planes:
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
    return _Planes(*(np.where(is_thin, b, a) for a, b in zip(_columns(small), _columns(wide), strict=True)))


def _columns(planes: _Planes) -> tuple[Cells, ...]:
    return planes.level, planes.rise_east, planes.rise_north, planes.residual_m, planes.closed


def _odd(cells: float) -> int:
    """The odd number nearest to a number of cells."""
    return max(1, 2 * round((cells - 1) / 2) + 1)


def _cell_sums(returns: _Returns) -> list[Cells]:
    """Per cell: count of low last returns, then count and sums of x, y, z and their products of the high ones."""
    shape, which = returns.grid.shape, returns.is_high_last
    cell = returns.cell[which]
    x, y, z = (v[which] for v in (returns.east, returns.north, returns.height))
    low = count_in_cells(returns.cell[returns.is_low_last], shape).astype(float)
    weights = (np.ones(len(x)), x, y, z, x * x, y * y, x * y, x * z, y * z, z * z)
    return [low, *(sum_in_cells(cell, w, shape) for w in weights)]


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

    def may_be_roof(self) -> Mask:
        """(rows, cols) bool: enough high returns, and hardly a pulse that passed."""
        may: Mask = (self.n_high >= MIN_RETURNS) & (self.closed >= MIN_CLOSED_RATIO)
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


def _smooth_cells(planes: _Planes, /) -> Mask:
    """(rows, cols) bool: cells amid a plane that no pulse passed."""
    slope = np.hypot(planes.rise_east, planes.rise_north)
    smooth: Mask = (
        (planes.closed >= MIN_CLOSED_RATIO)
        & (planes.residual_m <= MAX_RESIDUAL_M)
        & (slope <= math.tan(math.radians(MAX_SLOPE_DEG)))
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
    hits = count_in_cells(returns.cell[on_plane & returns.is_high_last], facets.shape)
    misses = count_in_cells(returns.cell[~on_plane & returns.is_high_last], facets.shape)
    patch_cells = facets | ((hits > 0) & (hits >= misses))
    patches, count = ndimage.label(patch_cells, np.ones((3, 3)))
    flush = count_in_cells(returns.cell[on_plane & returns.is_low_last], facets.shape) > 0
    area = np.bincount(patches.ravel(), minlength=count + 1)
    smooth = np.bincount(patches[facets], minlength=count + 1) / np.maximum(area, 1)
    rim = _rim(patches)
    rim_cells = np.maximum(np.bincount(rim.ravel(), minlength=count + 1), 1)
    runs_on = np.bincount(rim[flush], minlength=count + 1) / rim_cells
    keep = (area * CELL_M**2 >= settings.min_patch_m2) & (smooth >= MIN_SMOOTH_RATIO) & (runs_on <= MAX_FLUSH_RATIO)
    keep[0] = False
    tops = on_plane & returns.is_high_last
    keep &= ~_boulders(patches, returns, tops, keep & (area * CELL_M**2 <= BOULDER_MAX_M2))
    kept: Mask = keep[patches]
    return kept


def _boulders(patches: NDArray[np.signedinteger], returns: _Returns, tops: Mask, is_small: Mask) -> Mask:
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
        if returns.above_m[of_it].mean() > BOULDER_MAX_HEIGHT_M:
            continue
        hull = shapely.MultiPoint(np.column_stack([returns.east[of_it], returns.north[of_it]])).convex_hull
        fill_ratio = hull.area / max(hull.minimum_rotated_rectangle.area, 1e-9)
        is_round = 4 * math.pi * hull.area > BOULDER_ROUNDNESS * hull.length**2
        bend_per_m = _least_bend_per_m(returns.east[of_it], returns.north[of_it], returns.height[of_it])
        is_domed = bend_per_m >= BOULDER_MIN_BEND_PER_M and fill_ratio < TENT_FILL_RATIO
        found[number] = (is_round and fill_ratio < HUT_FILL_RATIO) or is_domed
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


def _enclosed(roofs: Mask, /) -> Mask:
    """(rows, cols) bool: small holes in roofs, left by what stands on them."""
    holes = ndimage.binary_fill_holes(roofs) & ~roofs
    return holes & ~_without_specks(holes, MAX_HOLE_M2 / CELL_M**2)
