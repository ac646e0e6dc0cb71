"""The surface through the cells known to be bare, and what joins the ground because it lies near it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.lattice.sampling import blended
from pipeline.lattice.windows import highest_around
from pipeline.points.ground.edges import OVERHANG_M, in_line_with_ground, overhangs
from pipeline.points.ground.low_growth import LOW_GROWTH_M, among_growth
from pipeline.points.ground.lowest import Lowest, spacing_of, taken
from pipeline.points.ground.solid import lies_solid
from pipeline.returns.triangulation import Triangulated, cell_means

JOIN_M = 0.3
"""Metres above the surface up to which the lowest return of a level cell joins the bare ones. Smaller figures leave
gaps on rough ground, greater ones let shrubs in. Our choice."""
JOIN_SLOPE_M = 0.7
"""Metres that this limit grows by for each metre of rise over run of the surface. Our choice."""
TOLERANCE_M = 0.05
"""Metres above the surface up to which a return of a dense survey is ground where the ground is level: the noise of the
heights. Our choice."""
TOLERANCE_M_PER_M = 0.25
"""Metres that the tolerance grows by for each metre between returns: sparse surveys are less exact, and their surface
cuts across the bends of the ground. Our choice."""
TOLERANCE_SLOPE_SHARE = 0.8
"""Share of the rise of the ground from one return to the next that the tolerance grows by. Our choice."""
TOLERANCE_CLIFF_M = 1.3
"""Metres that the tolerance grows by for each metre of rise over run beyond 1 (45 degrees): there, foot and lip of a
cliff share a cell. Our choice."""
CLIFF_RISE = 2.5
"""Rise over run from one cell to the next from which the ground climbs like a wall, and the returns of a cell may lie
as high as the next cell. Our choice."""
BELOW_FACTOR = 4.0
"""Returns may lie this many tolerances below the surface and still be ground, since nothing grows below it. Our
choice."""
DENSE_M = 0.6
"""Distance between returns up to which they are enough to tell low growth from the noise of the ground. Our choice."""
BEND_REACH_M, BEND_RISE = 2.0, 0.6
"""Ground that bends so sharply that its lip lies above the surface through the lowest returns has a face this steep,
rise over run, this near in metres. Elsewhere a smooth patch above the surface counts as growth, as a path is told by
the growth beside it; crowns of walls that stand free go with it. Our choice: tried on scene_b, whose path was lost
without it, relief_3506_8 and hard_steep."""
STEEP = 1.0
"""Rise over run beyond which returns of one cell lie too far apart in height to tell growth from it. Our choice."""


def near_surface(enh: EastNorthHeight, lowest: Lowest, is_bare: Mask, /) -> Mask:
    """(n,) bool: returns near the triangulated bare cells; further below than above, since nothing grows below.

    A cell at a cliff holds its foot and its lip: where the surface is steeper than 45 degrees, the rise beyond 45
    degrees is allowed, and where it climbs like a wall, the height of the next cell.

    Where the survey is dense and the ground not too steep, the noise of the ground and what grows on it decide instead
    of fixed tolerances (low_growth.py).
    """
    if not is_bare.any():
        return np.zeros(len(enh), np.bool_)
    cell_m = lowest.cell_m
    level, slope_north, slope_east = _surface(lowest, is_bare)
    slope = np.hypot(slope_north, slope_east)
    spacing_m = spacing_of(lowest)
    limit = _limit(level, slope, spacing_m, cell_m)
    is_dense = (spacing_m <= DENSE_M) & (slope <= STEEP)
    near, low, above, is_told = _compared(enh, lowest.first_row, lowest.first_col, cell_m, level, limit, is_dense)
    if is_told.any():
        told = taken(enh, low)
        near[low[is_told]] = among_growth(told, lowest, level, above)[is_told]
        row, col = (np.floor(told[:, axis] / cell_m).astype(np.int64) for axis in (1, 0))
        steepest = highest_around(slope, round(BEND_REACH_M / cell_m))
        by_a_bend = steepest[row - lowest.first_row, col - lowest.first_col] >= BEND_RISE
        near[low] |= lies_solid(told, above, is_told & by_a_bend & ~near[low])
    tall = low[near[low] & (above > OVERHANG_M)]
    higher = low[~near[low] & (above > 0)]
    tolerance_m = TOLERANCE_M + TOLERANCE_M_PER_M * spacing_m
    near[higher] |= in_line_with_ground(taken(enh, higher), lowest, is_bare, level, tolerance_m)
    row = np.floor(enh[tall, 1] / cell_m).astype(np.int64) - lowest.first_row
    col = np.floor(enh[tall, 0] / cell_m).astype(np.int64) - lowest.first_col
    near[tall[overhangs(enh, tall, (slope_north[row, col], slope_east[row, col]))]] = False
    return near


@compiled
def _compared(
    enh: EastNorthHeight,
    first_row: int,
    first_col: int,
    cell_m: float,
    level: NDArray[np.float64],
    limit: NDArray[np.float64],
    is_dense: Mask,
) -> tuple[Mask, NDArray[np.int64], NDArray[np.float64], Mask]:
    """Which returns are within the limit, (n,) bool, and (k,) numbers of those not far above the surface.

    Of each of these also the metres above the surface, and whether low growth can be told there.
    """
    near, low = np.empty(len(enh), np.bool_), np.empty(len(enh), np.int64)
    above, is_told = np.empty(len(enh)), np.empty(len(enh), np.bool_)
    k = 0
    for i in range(len(enh)):
        row, col = enh[i, 1] / cell_m - first_row - 0.5, enh[i, 0] / cell_m - first_col - 0.5
        # Returns lie some cells within the rim (`lowest.RIM_CELLS`).
        down, left = int(row), int(col)
        four = level[down, left], level[down, left + 1], level[down + 1, left], level[down + 1, left + 1]
        height = enh[i, 2] - blended(four, row - down, col - left)
        four = limit[down, left], limit[down, left + 1], limit[down + 1, left], limit[down + 1, left + 1]
        allowed = blended(four, row - down, col - left)
        is_above = height >= -BELOW_FACTOR * allowed
        near[i] = is_above and height <= allowed
        if is_above and height <= max(2 * LOW_GROWTH_M, allowed):
            low[k], above[k] = i, height
            is_told[k] = is_dense[int(row + 0.5), int(col + 0.5)]
            k += 1
    return near, low[:k].copy(), above[:k].copy(), is_told[:k].copy()


def _limit(
    level: NDArray[np.float64], slope: NDArray[np.float64], spacing_m: NDArray[np.float64], cell_m: float, /
) -> NDArray[np.float64]:
    """(rows, cols) metres above the surface up to which returns are ground, told from slope and spacing alone."""
    limit = TOLERANCE_M + TOLERANCE_M_PER_M * spacing_m
    limit += TOLERANCE_SLOPE_SHARE * spacing_m * slope
    limit += TOLERANCE_CLIFF_M * np.maximum(slope - 1, 0)
    rise = highest_around(level, 1) - level
    is_cliff = rise > CLIFF_RISE * cell_m
    limit[is_cliff] = np.maximum(limit, rise + TOLERANCE_M)[is_cliff]
    return limit


def lies_near(lowest: Lowest, is_bare: Mask, /) -> Mask:
    """(rows, cols) bool: cells whose lowest return lies below the surface of the bare cells, or not far above it."""
    if not is_bare.any():
        return is_bare
    level, slope_north, slope_east = _surface(lowest, is_bare)
    at = level + slope_east * lowest.east + slope_north * lowest.north
    limit_m = JOIN_M + JOIN_SLOPE_M * np.hypot(slope_north, slope_east)
    near: Mask = lowest.is_known & (lowest.height <= at + limit_m)
    return near


def _surface(lowest: Lowest, is_bare: Mask, /) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """(rows, cols) height of the triangulated bare cells at the cells' centres, and its slope to the north and east."""
    rows, cols = is_bare.shape
    east = (np.arange(cols, dtype=np.float64) + 0.5) * lowest.cell_m
    north = (np.arange(rows, dtype=np.float64) + 0.5) * lowest.cell_m
    level = _triangulated(lowest, is_bare).heights(east, north)
    if min(level.shape) < 2:
        return level, np.zeros_like(level), np.zeros_like(level)
    slope_north, slope_east = np.gradient(level, lowest.cell_m)
    return level, np.asarray(slope_north), np.asarray(slope_east)


def hand_on_surface(lowest: Lowest, is_bare: Mask, fresh: Lowest, /) -> None:
    """Bring the triangulation that is kept to these cells and hand it to `fresh`, whose other cells may differ.

    Otherwise all bare cells are triangulated anew, which takes a tenth of the time of finding the ground.
    """
    if is_bare.any():
        _triangulated(lowest, is_bare)
        fresh.triangulated.append(lowest.triangulated.pop())


def _triangulated(lowest: Lowest, is_bare: Mask, /) -> Triangulated:
    """The triangulated bare cells: those of the last call, changed; making them anew takes ten times as long."""
    if lowest.triangulated:
        was_bare, last = lowest.triangulated.pop()
        made = last.changed(_nodes(lowest, was_bare & ~is_bare), _nodes(lowest, is_bare & ~was_bare))
    else:
        made = Triangulated(_nodes(lowest, is_bare))
    lowest.triangulated.append((is_bare.copy(), made))
    return made


def _nodes(lowest: Lowest, which: Mask, /) -> EastNorthHeight:
    """(n, 3) the returns of some cells as nodes of a triangulation."""
    return cell_means(lowest.enh(which), cell_m=lowest.cell_m)
