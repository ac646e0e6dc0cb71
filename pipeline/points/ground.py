"""Ground: which returns came from the bare earth.

1. The lowest return of each cell is kept. Openings with growing windows (opening.py) find what a window cuts off all
   at once: an object loses its height when the window outgrows it, terrain is cut down little by little. How much a
   cell may lose grows with the window and with the slope of the terrain around (after Zhang et al. 2003 and Pingel
   et al. 2013, doi:10.1016/j.isprsjprs.2012.12.002; the loss from one window to the next is the differential profile
   of Pesaresi and Benediktsson 2001).
2. A cell that was cut off but from which straight gentle ways lead to the ground in several directions is terrain: a
   knoll, a crest, a bank. Objects are bounded by steps all round.
3. Planes through the neighbours, drawn to the lower ones, show low vegetation that stands out of them; it is taken
   off (asymmetric weights after Kraus and Pfeifer 1998).
4. Returns near the surface through what is left are ground, with a tolerance that grows with the slope.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import EastNorthHeight, Heights, Mask
from pipeline.lattice.means import Known, gaussian_window
from pipeline.lattice.per_cell import count_in_cells, lowest_in_cells
from pipeline.lattice.planes import weighted_plane
from pipeline.lattice.sampling import bilinear
from pipeline.lattice.windows import highest_around
from pipeline.points.opening import height_lost
from pipeline.points.pdal_pipeline import GROUND_CELL_M, GROUND_FIRST_SLOPE
from pipeline.returns.triangulation import cell_means, heights_at_nodes
from pipeline.settings import PointsSettings

GROUND_PIT_M = 1.5
"""A lone return this much deeper than the plane of its neighbours took a detour."""
GROUND_EDGE_M = 3.0
"""How far a window may reach beyond the returns: spares banks at the survey's edge."""
GROUND_SLOPE = 0.1
"""Rise over run a window may cut off on level ground: shapes of flat land."""
GROUND_SLOPE_SHARE = 0.3
"""Share of the slope around that a window may cut off in addition: crests, edges."""
GROUND_SLOPE_SIGMA_M = 6.0
"""How far around the slope is taken: wider than objects' edges, narrower than hills."""
GROUND_STEP_M = 0.1
"""Height any window may cut off: noise of the heights and roughness of the ground."""
GROUND_SPREAD_M = 4.0
"""Holes without returns narrower than twice this do not stop a gentle way."""
GROUND_WAY_FROM_M = 2.0
"""Only what windows of this radius and wider cut off can be terrain after all."""
GROUND_WAY_M = 12.0
"""Longest gentle way from a cut cell to the ground: half a crest's width."""
GROUND_WAY_STEP_M = 0.1
"""Step a gentle way may take from cell to cell on the level."""
GROUND_WAY_SLOPE = 0.2
"""Slope a gentle way may have in addition; walls and plants are steeper."""
GROUND_WAYS = 2
"""Of 8 directions, how many must lead gently to the ground; the edge of an object has one."""
GROUND_PLANT_M_PER_M = 0.12
"""Added to it for each metre between returns: sparse surveys are old, less exact, and see less of bends."""
GROUND_PLANT_SLOPE_SHARE = 0.4
"""Share of the plane's rise over the neighbourhood's width added to it."""
GROUND_PLANT_ROUGHNESS = 4.0
"""Added to it for each metre of roughness below the plane; spares rocks and edges."""
GROUND_LIP_M = 1.0
"""What stands out this far, level with many neighbours, is the lip of a cliff."""
GROUND_LIP_SHARE = 0.5
"""Which share: at a straight edge half or more lie behind it or beside it."""
GROUND_PLANE_NEIGHBOURS = 7
"""Fewest neighbours through which a plane is drawn; else wider cells are looked at."""
GROUND_PLANE_WIDTH_SHARE = 0.6
"""Distance at which a neighbour's weight has fallen to 1/e, as a share of the reach: near ones tell."""
GROUND_PLANE_HALF_SHARE = 0.5
"""A neighbour that stands out by this share of what makes it a plant has half its weight left."""
GROUND_PLANE_ROUNDS = 3
"""How often the planes are drawn anew with less weight on what stands out."""
GROUND_ROUNDS = 2
"""How often cells near the surface join it and plants are taken off again."""
GROUND_JOIN_M = 0.3
"""How far above the surface the lowest return of a joining cell may lie."""
GROUND_JOIN_SLOPE_M = 0.7
"""Added to it for each metre of rise over run."""
GROUND_TOLERANCE_M = 0.05
"""How far from the surface a return on level ground may lie: noise of the heights."""
GROUND_TOLERANCE_M_PER_M = 0.25
"""Added to it for each metre between returns: sparse surveys are less exact and miss bends."""
GROUND_SPACING_SIGMA_M = 3.0
"""How far around the spacing of the returns is taken: some of them even if sparse."""
GROUND_SPACING_LIMIT_M = 1.5
"""Sparser surveys get no wider tolerance: low plants would pass."""
GROUND_TOLERANCE_SLOPE_SHARE = 0.8
"""Share of the rise from one return to the next added to it."""
GROUND_TOLERANCE_CLIFF_M = 1.3
"""Added for each metre of rise over run beyond 1 (45 degrees): foot and lip share a cell."""
GROUND_CLIFF_RISE = 2.5
"""Rise over run from cell to cell from which a cell may hold both foot and lip."""
GROUND_BELOW_FACTOR = 4.0
"""Returns may lie this many tolerances below the surface: nothing grows below ground."""

Number = TypeVar("Number", bound=np.generic)
NEIGHBOURS = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))

PIECE = 4096
"""Returns whose planes are drawn at a time."""
PLANE_EASE = 0.01
"""Share of the neighbours' spread added in every direction when a plane is drawn."""


@dataclass(frozen=True)
class Lowest:
    """The lowest return of each cell.

    Attributes
    ----------
    cell_m : float
    first_col, first_row : int
        Place of the arrays' first cell in whole cells; rows run from south to north.
    height : (rows, cols) float64, metres
        inf where the cell holds no return.
    east, north : (rows, cols) float64, metres
        Place of the return within its cell, from the cell's centre.
    count : (rows, cols) int64
        Returns in the cell.
    """

    cell_m: float
    first_col: int
    first_row: int
    height: NDArray[np.float64]
    east: NDArray[np.float64]
    north: NDArray[np.float64]
    count: NDArray[np.int64]

    @property
    def is_known(self) -> Mask:
        """(rows, cols) bool."""
        known: Mask = np.isfinite(self.height)
        return known

    def enh(self, which: Mask) -> EastNorthHeight:
        """(n, 3) the returns of the chosen cells, from the arrays' first cell's corner."""
        row, col = np.nonzero(which)
        east = (col + 0.5) * self.cell_m + self.east[which]
        north = (row + 0.5) * self.cell_m + self.north[which]
        return np.column_stack((east, north, self.height[which]))


def lowest_returns(enh: EastNorthHeight, /, *, cell_m: float) -> Lowest:
    """The lowest return of each cell; of equally low ones the most western, then the most southern."""
    col = np.floor(enh[:, 0] / cell_m).astype(np.int64)
    row = np.floor(enh[:, 1] / cell_m).astype(np.int64)
    first_col, first_row = int(col.min()), int(row.min())
    shape = int(row.max()) - first_row + 1, int(col.max()) - first_col + 1
    cell = (row - first_row) * shape[1] + (col - first_col)
    height = lowest_in_cells(cell, enh[:, 2], (shape[0] * shape[1],), empty=np.inf)
    low = np.flatnonzero(enh[:, 2] == height[cell])
    low = low[np.lexsort((-enh[low, 1], -enh[low, 0]))]
    east, north = np.zeros_like(height), np.zeros_like(height)
    east[cell[low]] = enh[low, 0] - (col[low] + 0.5) * cell_m
    north[cell[low]] = enh[low, 1] - (row[low] + 0.5) * cell_m
    height, east, north = height.reshape(shape), east.reshape(shape), north.reshape(shape)
    return Lowest(cell_m, first_col, first_row, height, east, north, count_in_cells(cell, shape))


def find_ground(enh: EastNorthHeight, is_candidate: Mask, /, *, settings: PointsSettings) -> Mask:
    """(n,) bool: returns of the bare earth.

    Parameters
    ----------
    enh : (n, 3) float64, metres
    is_candidate : (n,) bool
        Returns that may be ground: usable, not noise, last of their pulse.
    """
    ground = np.zeros(len(enh), np.bool_)
    index = np.flatnonzero(is_candidate)
    if len(index) == 0:
        return ground
    lowest = lowest_returns(enh[index], cell_m=GROUND_CELL_M)
    is_bare = bare_cells(lowest, settings=settings)
    ground[index] = _near_surface(enh[index], lowest, is_bare)
    return ground


def bare_cells(lowest: Lowest, /, *, settings: PointsSettings) -> Mask:
    """(rows, cols) bool: cells whose lowest return is ground."""
    cut_at = _cut_at(lowest, settings=settings)
    is_bare: Mask = lowest.is_known & ((cut_at == 0) | _is_gently_reached(lowest, cut_at))
    is_bare &= ~_stands_out(lowest, is_bare, settings=settings)
    for _ in range(GROUND_ROUNDS):
        is_bare |= _lies_near(lowest, is_bare)
        is_bare &= ~_stands_out(lowest, is_bare, settings=settings)
    return is_bare


def _lies_near(lowest: Lowest, is_bare: Mask, /) -> Mask:
    """(rows, cols) bool: cells whose lowest return lies below or not far above the surface of the bare ones."""
    if not is_bare.any():
        return is_bare
    level, slope_north, slope_east = _surface(lowest, is_bare)
    at = level + slope_east * lowest.east + slope_north * lowest.north
    limit = GROUND_JOIN_M + GROUND_JOIN_SLOPE_M * np.hypot(slope_north, slope_east)
    near: Mask = lowest.is_known & (lowest.height <= at + limit)
    return near


def _surface(lowest: Lowest, is_bare: Mask, /) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """(rows, cols) height of the triangulated bare cells at the cells' centres, and its slope to the north and east."""
    rows, cols = is_bare.shape
    nodes = cell_means(lowest.enh(is_bare), cell_m=lowest.cell_m)
    east = (np.arange(cols, dtype=np.float64) + 0.5) * lowest.cell_m
    north = (np.arange(rows, dtype=np.float64) + 0.5) * lowest.cell_m
    level = heights_at_nodes(nodes, east, north)
    if min(level.shape) < 2:
        return level, np.zeros_like(level), np.zeros_like(level)
    slope_north, slope_east = np.gradient(level, lowest.cell_m)
    return level, np.asarray(slope_north), np.asarray(slope_east)


def _cut_at(lowest: Lowest, /, *, settings: PointsSettings) -> NDArray[np.int16]:
    """(rows, cols) radius in cells of the first window that cuts the cell off; 0 where none does.

    A first look with one slope for all gives the terrain whose slope the second look allows for.
    """
    heights = lowest.height.astype(np.float32)
    radii = range(1, round(settings.ground_window_m / lowest.cell_m) + 1)
    losses = list(height_lost(heights, radii=radii, margin=round(GROUND_EDGE_M / lowest.cell_m)))
    cut = np.zeros(heights.shape, np.bool_)
    for radius, lost in losses:
        cut |= lost > GROUND_FIRST_SLOPE * radius * lowest.cell_m
    steepness = _terrain_slope(lowest, lowest.is_known & ~cut, sigma_m=GROUND_SLOPE_SIGMA_M)
    allowed = GROUND_SLOPE + GROUND_SLOPE_SHARE * steepness
    cut_at = np.zeros(heights.shape, np.int16)
    for radius, lost in losses:
        is_cut = lost > GROUND_STEP_M + allowed * (radius * lowest.cell_m)
        cut_at[is_cut & (cut_at == 0)] = radius
    return cut_at


def _terrain_slope(lowest: Lowest, is_bare: Mask, /, *, sigma_m: float) -> Heights:
    """(rows, cols) rise over run of the smoothed bare cells; 0 where none is near."""
    bare = Known.of(is_bare, gaussian_window(sigma_m / lowest.cell_m, rim="constant", truncate=2.5))
    level = bare.mean(lowest.height)
    level[bare.share < 1e-6] = np.nan
    if min(level.shape) < 2:
        return np.zeros(level.shape, np.float32)
    north, east = np.gradient(level, lowest.cell_m)
    return np.asarray(np.nan_to_num(np.hypot(north, east)), np.float32)


def _is_gently_reached(lowest: Lowest, cut_at: NDArray[np.int16], /) -> Mask:
    """(rows, cols) bool: cut cells from which gentle straight ways lead to uncut ones in enough of 8 directions.

    Cells cut by the narrowest windows are no way: they are single plants more often than terrain.
    """
    height, cut = _spread(lowest.height, cut_at, steps=round(GROUND_SPREAD_M / lowest.cell_m))
    is_home = np.isfinite(height) & (cut == 0)
    is_way = cut >= GROUND_WAY_FROM_M / lowest.cell_m
    steps = round(GROUND_WAY_M / lowest.cell_m)
    ways = np.zeros(height.shape, np.int8)
    for down, right in NEIGHBOURS:
        limit = GROUND_WAY_STEP_M + GROUND_WAY_SLOPE * lowest.cell_m * np.hypot(down, right)
        with np.errstate(invalid="ignore"):
            gentle = is_way & (np.abs(height - _shifted(height, down, right, np.inf)) <= limit)
        arrives = is_home
        for _ in range(steps):
            arrives = is_home | (gentle & _shifted(arrives, down, right, False))
        ways += arrives
    back: Mask = is_way & (ways >= GROUND_WAYS)
    return back


def _shifted(grid: NDArray[Number], down: int, right: int, outside: float) -> NDArray[Number]:
    """The grid moved so that each cell sees the one `down` and `right` of it."""
    return np.pad(grid, 1, constant_values=outside)[
        1 + down : 1 + down + grid.shape[0], 1 + right : 1 + right + grid.shape[1]
    ]


def _spread(
    height: NDArray[np.float64], cut_at: NDArray[np.int16], /, *, steps: int
) -> tuple[NDArray[np.float64], NDArray[np.int16]]:
    """Heights and cuts with small holes filled: the mean height and the widest cut of the known neighbours."""
    height, cut_at = height.copy(), cut_at.copy()
    for _ in range(steps):
        hole = ~np.isfinite(height)
        if not hole.any():
            break
        total, count, widest = np.zeros_like(height), np.zeros_like(height), np.zeros_like(cut_at)
        for down, right in NEIGHBOURS:
            near = _shifted(height, down, right, np.inf)
            known = np.isfinite(near)
            total[known] += near[known]
            count += known
            widest = np.maximum(widest, _shifted(cut_at, down, right, 0))
        fill = hole & (count > 0)
        height[fill] = total[fill] / count[fill]
        cut_at[fill] = widest[fill]
    return height, cut_at


@dataclass(frozen=True)
class Planes:
    """For each of m returns, how it lies to the plane through its neighbours, itself left out.

    Attributes
    ----------
    above : (m,) metres above the plane
    limit_m : (m,) metres
        How far above it still is ground: grows with the width of the neighbourhood, its slope, and the root mean
        square depth of the neighbours below the plane, which is roughness that plants cannot make.
    level_share : (m,) 0..1
        Share of the neighbours to which a gentle way leads: the lip of a cliff has many, a plant few.
    is_known : (m,) bool
        Enough neighbours to tell.
    """

    above: NDArray[np.float64]
    limit_m: NDArray[np.float64]
    level_share: NDArray[np.float64]
    is_known: Mask


def _stands_out(lowest: Lowest, is_bare: Mask, /, *, settings: PointsSettings) -> Mask:
    """(rows, cols) bool: bare cells whose return rises out of the lower of its neighbours.

    Each is judged on the finest of the cell sizes (1, 2 and 4 times the lowest cells) that gives enough neighbours.
    """
    out = np.zeros(is_bare.shape, np.bool_)
    is_open = is_bare.copy()
    spacing_m = _spacing_m(lowest)
    for factor, reach in ((1, 1), (2, 1), (2, 2), (4, 2)):
        place = _coarse_lowest(lowest, is_bare, factor)
        asked = is_open[place]
        if not asked.any():
            break
        # What a plane rests on is known one neighbourhood further out for each time it is drawn.
        hops = GROUND_PLANE_ROUNDS - 1
        near = _neighbours(lowest, place, asked, factor=factor, reach=reach, hops=hops)
        planes = _fit_planes(near, spacing_m[place][near.own], settings=settings)
        judged = planes.is_known & asked[near.own]
        row, col = (axis[near.own][judged] for axis in place)
        # Only neighbours next to it can tell a lip: across 5 m and more, plants of one height look level too.
        is_lip = (planes.above > GROUND_LIP_M) & (planes.level_share >= GROUND_LIP_SHARE)
        is_lip &= factor * reach == 1
        is_plant = (planes.above > planes.limit_m) & ~is_lip
        # A lone return deep below its neighbours is an echo that took a detour.
        is_detour = planes.above < -(GROUND_PIT_M + GROUND_BELOW_FACTOR * planes.limit_m)
        out[row, col] = (is_plant | is_detour)[judged]
        is_open[row, col] = False
    return out


@dataclass(frozen=True)
class Neighbours:
    """For each of m returns out of n its up to k neighbours.

    Attributes
    ----------
    n_returns : int
    own : (m,) int
        Number of the return among the n.
    which : (k, m) int
        Number of the neighbour among the n; 0 where there is none.
    weight : (k, m) float64
        Falls with distance; 0 where there is none.
    width_m : float
        Distance at which the weight has fallen to 1/e.
    east, north, height : (k, m) float64, metres from the return.
    """

    n_returns: int
    own: NDArray[np.int64]
    which: NDArray[np.int64]
    weight: NDArray[np.float64]
    width_m: float
    east: NDArray[np.float64]
    north: NDArray[np.float64]
    height: NDArray[np.float64]

    def pieces(self) -> Iterator[tuple[slice, Neighbours]]:
        """The m returns some at a time, so that what is made of them stays in the processor's cache."""
        for start in range(0, len(self.own), PIECE):
            part = slice(start, start + PIECE)
            east, north, height = self.east[:, part], self.north[:, part], self.height[:, part]
            which, weight = self.which[:, part], self.weight[:, part]
            yield part, Neighbours(self.n_returns, self.own[part], which, weight, self.width_m, east, north, height)


def _coarse_lowest(lowest: Lowest, is_bare: Mask, factor: int, /) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Row and column of the lowest bare return of each cell `factor` times as wide; the wide cells lie on the lattice.

    Of equally low ones the most southern, then the most western cell.
    """
    row, col = np.nonzero(is_bare)
    if factor == 1:
        return row, col
    wide_row = (row + lowest.first_row) // factor - lowest.first_row // factor
    wide_col = (col + lowest.first_col) // factor - lowest.first_col // factor
    cell = wide_row * (int(wide_col.max(initial=0)) + 1) + wide_col
    height = lowest.height[row, col]
    least = lowest_in_cells(cell, height, (int(cell.max(initial=-1)) + 1,), empty=np.inf)
    low = np.flatnonzero(height == least[cell])
    # Rows and columns ascend: written backwards, the first of equally low ones stays.
    chosen = np.full(len(least), -1, np.intp)
    chosen[cell[low[::-1]]] = low[::-1]
    chosen = chosen[chosen >= 0]
    return row[chosen], col[chosen]


def _neighbours(
    lowest: Lowest,
    place: tuple[NDArray[np.intp], NDArray[np.intp]],
    asked: Mask,
    /,
    *,
    factor: int,
    reach: int,
    hops: int,
) -> Neighbours:
    """The returns of the wide cells at most `reach` wide cells away, the own one left out.

    Of the returns asked for, and of their neighbours, and of theirs, so many hops out.
    """
    row, col = place
    wide_row = (row + lowest.first_row) // factor - lowest.first_row // factor + reach
    wide_col = (col + lowest.first_col) // factor - lowest.first_col // factor + reach
    shape = (int(wide_row.max(initial=0)) + reach + 1, int(wide_col.max(initial=0)) + reach + 1)
    number = np.full(shape, -1, np.int64)
    number[wide_row, wide_col] = np.arange(len(row))
    is_near = np.zeros(shape, np.uint8)
    is_near[wide_row[asked], wide_col[asked]] = 1
    is_near = highest_around(is_near, reach * hops)
    own = np.flatnonzero(is_near[wide_row, wide_col])
    cell = (wide_row * shape[1] + wide_col)[own]
    steps = [r * shape[1] + c for r in range(-reach, reach + 1) for c in range(-reach, reach + 1) if (r, c) != (0, 0)]
    which = np.stack([number.ravel()[cell + step] for step in steps])
    is_there = which >= 0
    which = np.maximum(which, 0)
    east = (col + lowest.east[place] / lowest.cell_m) * lowest.cell_m
    north = (row + lowest.north[place] / lowest.cell_m) * lowest.cell_m
    east, north, height = (axis[which] - axis[own] for axis in (east, north, lowest.height[place]))
    width_m = GROUND_PLANE_WIDTH_SHARE * (reach + 0.5) * factor * lowest.cell_m
    weight = np.exp(-(east**2 + north**2) / width_m**2) * is_there
    return Neighbours(len(row), own, which, weight, width_m, east, north, height)


def _fit_planes(near: Neighbours, spacing_m: NDArray[np.float64], /, *, settings: PointsSettings) -> Planes:
    """Planes drawn to the lower neighbours: those above their own plane lose weight, and the planes are drawn anew."""
    trust = np.ones(near.n_returns)
    steady = settings.ground_plant_m + GROUND_PLANT_M_PER_M * spacing_m
    level, slope_east, slope_north = planes = np.empty((3, len(near.own)))
    limit = steady
    for turn in range(GROUND_PLANE_ROUNDS):
        if turn > 0:
            trust[near.own] = 1 / (1 + (np.maximum(-level, 0) / (GROUND_PLANE_HALF_SHARE * limit)) ** 2)
        for part, few in near.pieces():
            weight = few.weight * trust[few.which]
            planes[:, part] = weighted_plane(
                few.east, few.north, few.height, weight, over=(0,), ease=1e-9, ease_share=PLANE_EASE
            )
        slope = np.hypot(slope_east, slope_north)
        limit = steady + GROUND_PLANT_SLOPE_SHARE * near.width_m * slope
    below_m, level_share, n_neighbours = np.empty((3, len(near.own)))
    for part, few in near.pieces():
        below_m[part] = _depth_below(few, few.weight * trust[few.which], planes[:, part])
        level_share[part], n_neighbours[part] = _level_share(few)
    limit = limit + GROUND_PLANT_ROUGHNESS * below_m
    return Planes(-level, limit, level_share, n_neighbours >= GROUND_PLANE_NEIGHBOURS)


def _depth_below(near: Neighbours, weight: NDArray[np.float64], planes: NDArray[np.float64], /) -> NDArray[np.float64]:
    """(m,) metres: root mean square depth of the neighbours below the plane, those above counted as on it."""
    level, slope_east, slope_north = planes
    rest = near.height - level - slope_east * near.east - slope_north * near.north
    square = np.einsum("km,km->m", weight, np.minimum(rest, 0) ** 2)
    return np.asarray(np.sqrt(square / np.maximum(weight.sum(axis=0), 1e-9)))


def _level_share(near: Neighbours, /) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """(m,) share of the neighbours to which a gentle way leads, and how many neighbours there are."""
    is_there = near.weight > 0
    step = GROUND_WAY_STEP_M + GROUND_WAY_SLOPE * np.hypot(near.east, near.north)
    n_level = np.count_nonzero((np.abs(near.height) <= step) & is_there, axis=0)
    n_all = np.count_nonzero(is_there, axis=0)
    return n_level / np.maximum(n_all, 1), n_all


def _near_surface(enh: EastNorthHeight, lowest: Lowest, is_bare: Mask, /) -> Mask:
    """(n,) bool: returns near the triangulated bare cells; further below than above, since nothing grows below.

    A cell at a cliff holds its foot and its lip: where the surface is steeper than 45 degrees, the rise beyond 45
    degrees is allowed, and where it climbs like a wall, the height of the next cell.
    """
    if not is_bare.any():
        return np.zeros(len(enh), np.bool_)
    cell_m = lowest.cell_m
    level, slope_north, slope_east = _surface(lowest, is_bare)
    slope = np.hypot(slope_north, slope_east)
    spacing_m = _spacing_m(lowest)
    limit = GROUND_TOLERANCE_M + GROUND_TOLERANCE_M_PER_M * spacing_m
    limit += GROUND_TOLERANCE_SLOPE_SHARE * spacing_m * slope
    limit += GROUND_TOLERANCE_CLIFF_M * np.maximum(slope - 1, 0)
    rise = highest_around(level, 1) - level
    is_cliff = rise > GROUND_CLIFF_RISE * cell_m
    limit[is_cliff] = np.maximum(limit, rise + GROUND_TOLERANCE_M)[is_cliff]
    at = enh[:, 1] / cell_m - lowest.first_row - 0.5, enh[:, 0] / cell_m - lowest.first_col - 0.5
    above = enh[:, 2] - bilinear(level, *at)
    allowed = bilinear(limit, *at)
    near: Mask = (above <= allowed) & (above >= -GROUND_BELOW_FACTOR * allowed)
    return near


def _spacing_m(lowest: Lowest, /) -> NDArray[np.float64]:
    """(rows, cols) metres: spacing of the returns around each cell, up to the limit of the settings."""
    sigma = GROUND_SPACING_SIGMA_M / lowest.cell_m
    per_cell = ndimage.gaussian_filter(lowest.count.astype(np.float64), sigma, mode="nearest", truncate=2.5)
    spacing_m = lowest.cell_m / np.sqrt(np.maximum(per_cell, 1e-6))
    return np.asarray(np.minimum(spacing_m, GROUND_SPACING_LIMIT_M))
