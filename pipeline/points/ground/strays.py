"""Stray low returns: ground that one return alone claims against its neighbours.

An echo that took a detour, or a weak pulse timed wrongly, lies below the ground by decimetres or metres. As the lowest
return of its cell it would be ground, a pit, and, as its neighbours then seem to stand out, a crater. What tells it
from a hollow is company: at the bottom of a hollow other pulses end as well.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.points.ground.lowest import Lowest, spacing_of
from pipeline.returns.buckets import Buckets

STRAY_M = 0.05
"""Metres below the plane of its neighbours from which the lowest return of a cell must have company. Our choice."""
BEND_M = 60.0
"""Radius in metres of the bends of ground that a plane may miss: what lies in a hollow of that radius, as deep as the
neighbours are far, needs no company. Our choice."""
MOST_ROUGH_M = 0.3
"""Mean distance of the neighbours from their plane, in metres, beyond which nothing is judged: among them may be
crowns, and what lies below them may be the only ground. Our choice."""
STRAY_ROUGHNESS = 2.0
"""Metres that this depth grows by for each metre that the neighbours lie off their plane in the mean. Our choice."""
STRAY_M_PER_M = 0.12
"""Metres that this depth grows by for each metre between returns: planes of sparse surveys see less of the bends of the
ground. Our choice."""
STRAY_SLOPE_M = 0.15
"""Metres that this depth grows by for each metre of rise over run: errors of place are errors of height. Our choice."""
COMPANY_M = 1.0
"""How near, in metres, other returns are company: the narrowest pit on a map is wider. Our choice."""
COMPANY_SPACINGS = 1.5
"""How near they may lie in a sparse survey, in distances between its returns. Our choice."""
LEAST_COMPANY = 2
"""How many other returns must lie at least half as deep: two strays beside each other are rare, three hardly happen.
Our choice."""
SPARSE_M = 0.8
"""Distance between returns, in metres, from which one other is enough: a sparse survey has few returns in any hollow.
Our choice."""
SPARSEST_M = 1.1
"""Distance between returns, in metres, beyond which a lowest return is believed alone where it lies no deeper than a
gentle hollow reaches: ditches and hollows have one return there if any. Chosen by the ISPRS filter test, of which .1 %
more is wrong where company is asked for at any depth."""
FAR_COMPANY_SPACINGS = 3.0
"""How near they may lie in the sparsest survey, in distances between its returns: along the foot of a step or in a
ditch the next return as deep may lie so far away. Our choice."""
LONE_STEEP = 0.7
"""Rise over run, from a lone return to returns as far away as they lie apart, beyond which it needs company even in
the sparsest survey: the sides of wide hollows are gentler, and at the bottom of a deep one other pulses end. Our
choice."""
REACHES = (2, 4, 8)
"""Half the widths, in cells, of the neighbourhoods through which the plane is drawn: the narrowest that holds enough
bare cells. Our choice."""
LEAST_NEIGHBOURS = 8
"""Fewest bare cells through which the plane is drawn. With fewer nothing can be told. Our choice."""
SOFT_M = 0.3
"""Distance from the plane at which a neighbour has half its weight left when the plane is drawn anew, so that an object
or a second stray does not tip it. Our choice."""
ROUNDS = 2
"""How often strays are looked for: below one return of a cell may lie another. Our choice."""


@dataclass(frozen=True)
class InCells:
    """Which returns each cell holds.

    Attributes
    ----------
    cell : (n,) int64
        Number of each return's cell, row by row.
    start : (cells + 1,) int64
        Where the returns of each cell begin in `held`.
    held : (n,) int64
        Numbers of the returns, cell by cell.
    """

    cell: NDArray[np.int64]
    start: NDArray[np.int64]
    held: NDArray[np.int64]

    @classmethod
    def of(cls, enh: EastNorthHeight, lowest: Lowest, /) -> InCells:
        """The returns in the cells of the lowest ones."""
        cell = _cell_of(enh, lowest)
        return cls(cell, *_by_cell(cell, lowest.height.size))


def without_lone_lows(enh: EastNorthHeight, lowest: Lowest, inside: InCells, /) -> tuple[Lowest, Mask]:
    """The lowest returns without those that are stray beyond doubt, before any ground is known; (n,) bool, which.

    A window that reaches down to one stray return cuts off the ground around it, up to the width of the window away, so
    these go first: returns at the bottom of a shaft that no other return shows. Under crowns a single true return of
    the ground lies at the bottom of such a shaft as well; it stays, since others come down near by. In a sparse survey
    none may, so nothing is judged there.
    """
    is_dense = spacing_of(lowest) < SPARSE_M
    is_stray = np.zeros(len(enh), np.bool_)
    for _ in range(ROUNDS):
        strays = _at_bottom_of_shaft(enh, inside.start, inside.held, is_stray, lowest.height, is_dense)
        if not len(strays):
            break
        is_stray[strays] = True
        lowest = _next_lowest(enh, lowest, inside, is_stray, inside.cell[strays])
    return lowest, is_stray


def without_strays(
    enh: EastNorthHeight, lowest: Lowest, is_bare: Mask, inside: InCells, is_stray: Mask, /
) -> tuple[Lowest, Mask, Mask]:
    """The lowest returns with stray ones replaced by the next lowest of their cell.

    Also (rows, cols) bool, the bare cells whose lowest return is still the one judged, and (n,) bool, the strays.

    Parameters
    ----------
    enh : (n, 3) float64, metres
        The returns that may be ground, of which `lowest` holds the lowest.
    is_bare : (rows, cols) bool
        Cells whose lowest return may be ground: all are judged by these.
    is_stray : (n,) bool
        Returns known to be stray, which `lowest` does not hold.
    """
    known_stray, is_stray = is_stray, is_stray.copy()
    # Deep strays may have been taken for plants or echoes already, and would come back as what lies below the surface.
    asked = lowest.is_known
    spacing_m = spacing_of(lowest)
    for _ in range(ROUNDS):
        strays = _strays(
            enh,
            inside.start,
            inside.held,
            is_stray,
            lowest.height,
            lowest.east,
            lowest.north,
            is_bare,
            asked,
            spacing_m,
            lowest.cell_m,
        )
        if not len(strays):
            break
        is_stray[strays] = True
        lowest = _next_lowest(enh, lowest, inside, is_stray, inside.cell[strays])
        asked = np.zeros(is_bare.shape, np.bool_)
        asked.ravel()[inside.cell[strays]] = True
        asked &= lowest.is_known
    is_same = np.ones(is_bare.size, np.bool_)
    is_same[inside.cell[is_stray & ~known_stray]] = False
    return lowest, is_bare & is_same.reshape(is_bare.shape), is_stray


SHAFT_M = 1.0
"""Metres below the lowest of the 8 cells around from which a lone return lies at the bottom of a shaft: earth would
have to stand steeper than 45 degrees on all sides. What lies less deep drags a window down by little more than it may
take from a cell. Our choice."""
LEAST_AROUND = 8
"""Cells around, of 8, that must hold a return: where one is empty, as between houses, a true return of the ground may
be the only one. Seen on the ISPRS sample 23; our choice."""
LEAST_RIM = 4
RIM_M = 0.7
"""How many of the cells around, and how far above the lowest of them in metres, must lie level as ground does: boughs
around a gap of the canopy lie higher and lower. Our choice."""
LIKE_AROUND_CELLS = 8
"""How far around, in cells, no other lowest return may lie half as deep below all of its own neighbours: through a
canopy some pulses come down to the ground in every such square. Our choice."""


@compiled
def _at_bottom_of_shaft(
    enh: EastNorthHeight,
    start: NDArray[np.int64],
    held: NDArray[np.int64],
    is_stray: Mask,
    height: NDArray[np.float64],
    is_dense: Mask,
) -> NDArray[np.int64]:
    """Numbers of the lowest returns that lie alone at the bottom of a shaft, with no other shaft near by."""
    rows, cols = height.shape
    found = []
    for row in range(1, rows - 1):
        for col in range(1, cols - 1):
            if not is_dense[row, col] or not np.isfinite(height[row, col]):
                continue
            depth = _depth_below_around(height, row, col)
            if depth < SHAFT_M or not _has_level_rim(height, row, col, height[row, col] + depth + RIM_M):
                continue
            if _has_like_around(height, row, col, 0.5 * depth):
                continue
            own, company = -1, 0
            for at in range(start[row * cols + col], start[row * cols + col + 1]):
                i = held[at]
                if is_stray[i]:
                    continue
                if own < 0 and enh[i, 2] == height[row, col]:
                    own = i
                elif enh[i, 2] <= height[row, col] + 0.5 * depth:
                    company += 1
            if own >= 0 and company < LEAST_COMPANY:
                found.append(own)
    return np.array(found, np.int64)


@compiled
def _has_level_rim(height: NDArray[np.float64], row: int, col: int, highest_m: float) -> bool:
    """Whether enough of the cells around a cell hold a return no higher than this."""
    n_level = 0
    for r in range(row - 1, row + 2):
        for c in range(col - 1, col + 2):
            n_level += (r != row or c != col) and height[r, c] <= highest_m
    return n_level >= LEAST_RIM


@compiled
def _has_like_around(height: NDArray[np.float64], row: int, col: int, least_m: float) -> bool:
    """Whether near a cell another lowest return lies so far below all of its neighbours."""
    rows, cols = height.shape
    for r in range(max(1, row - LIKE_AROUND_CELLS), min(rows - 1, row + LIKE_AROUND_CELLS + 1)):
        for c in range(max(1, col - LIKE_AROUND_CELLS), min(cols - 1, col + LIKE_AROUND_CELLS + 1)):
            if (r != row or c != col) and np.isfinite(height[r, c]) and _depth_below_around(height, r, c) >= least_m:
                return True
    return False


@compiled
def _depth_below_around(height: NDArray[np.float64], row: int, col: int) -> float:
    """Metres by which the lowest return of a cell lies below the lowest of the cells around; 0 where few hold one."""
    lowest, n_known = np.inf, 0
    for r in range(row - 1, row + 2):
        for c in range(col - 1, col + 2):
            if r != row or c != col:
                lowest = min(lowest, height[r, c])
                n_known += np.isfinite(height[r, c])
    return float(lowest - height[row, col]) if n_known >= LEAST_AROUND else 0.0


def lacks_company(enh: EastNorthHeight, depth_m: NDArray[np.float64], asked: Mask, /) -> Mask:
    """(n,) bool: asked returns below the surface of a dense survey near which too few others lie half as deep.

    Parameters
    ----------
    depth_m : (n,) float64, metres below the surface
    asked : (n,) bool
    """
    alone = asked.copy()
    if not asked.any():
        return alone
    # Only these can be company of any that is asked.
    deep = np.flatnonzero(depth_m >= 0.5 * depth_m[asked].min())
    which = np.flatnonzero(asked)
    east, north = (np.ascontiguousarray(enh[:, axis]) for axis in (0, 1))
    count, near = Buckets.of(east[deep], north[deep]).within(east[which], north[which], np.full(len(which), COMPANY_M))
    of = np.repeat(np.arange(len(which)), count)
    others = deep[near]
    is_company = (others != which[of]) & (depth_m[others] >= 0.5 * depth_m[which[of]])
    alone[which] = np.bincount(of[is_company], minlength=len(which)) < LEAST_COMPANY
    return alone


def _cell_of(enh: EastNorthHeight, lowest: Lowest, /) -> NDArray[np.int64]:
    """(n,) the number of each return's cell, row by row."""
    col = np.floor(enh[:, 0] / lowest.cell_m).astype(np.int64) - lowest.first_col
    row = np.floor(enh[:, 1] / lowest.cell_m).astype(np.int64) - lowest.first_row
    return np.asarray(row * lowest.height.shape[1] + col, np.int64)


@compiled
def _by_cell(cell: NDArray[np.int64], n_cells: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Where the returns of each cell begin, (n_cells + 1,), and their numbers, cell by cell, (n,)."""
    start, held = np.zeros(n_cells + 1, np.int64), np.empty(len(cell), np.int64)
    for i in range(len(cell)):
        start[cell[i] + 1] += 1
    for at in range(n_cells):
        start[at + 1] += start[at]
    free = start[:-1].copy()
    for i in range(len(cell)):
        held[free[cell[i]]] = i
        free[cell[i]] += 1
    return start, held


def _next_lowest(
    enh: EastNorthHeight,
    lowest: Lowest,
    inside: InCells,
    is_stray: Mask,
    changed: NDArray[np.int64],
    /,
) -> Lowest:
    """The lowest returns anew in the changed cells."""
    height, east, north = lowest.height.copy(), lowest.east.copy(), lowest.north.copy()
    cols = height.shape[1]
    for number in np.unique(changed):
        row, col = divmod(int(number), cols)
        left = inside.held[inside.start[number] : inside.start[number + 1]]
        left = left[~is_stray[left]]
        if not len(left):
            height[row, col], east[row, col], north[row, col] = np.inf, 0.0, 0.0
            continue
        low = left[np.lexsort((enh[left, 1], enh[left, 0], enh[left, 2]))[0]]
        height[row, col] = enh[low, 2]
        east[row, col] = enh[low, 0] - (lowest.first_col + col + 0.5) * lowest.cell_m
        north[row, col] = enh[low, 1] - (lowest.first_row + row + 0.5) * lowest.cell_m
    return replace(lowest, height=height, east=east, north=north)


@compiled
def _strays(
    enh: EastNorthHeight,
    start: NDArray[np.int64],
    held: NDArray[np.int64],
    is_stray: Mask,
    height: NDArray[np.float64],
    east: NDArray[np.float64],
    north: NDArray[np.float64],
    is_bare: Mask,
    asked: Mask,
    spacing_m: NDArray[np.float64],
    cell_m: float,
) -> NDArray[np.int64]:
    """Numbers of the lowest returns that lie below the plane of their neighbours without company."""
    rows, cols = height.shape
    found = []
    plane, near = np.empty(3), np.empty(((2 * REACHES[-1] + 1) ** 2, 4))
    for row in range(rows):
        for col in range(cols):
            if not asked[row, col]:
                continue
            n, reach = _neighbours(near, height, east, north, is_bare, row, col, cell_m)
            if n < LEAST_NEIGHBOURS:
                continue
            _draw_plane(plane, near[:n])
            steep = np.hypot(plane[1], plane[2])
            allowed = STRAY_M + STRAY_M_PER_M * spacing_m[row, col] + STRAY_SLOPE_M * steep
            allowed += (reach * cell_m) * (reach * cell_m) / (2 * BEND_M)
            level = plane[0] + height[row, col]
            depth = level - height[row, col]
            if depth <= allowed:
                continue
            rough = _roughness(plane, near[:n])
            if rough > MOST_ROUGH_M or depth <= allowed + STRAY_ROUGHNESS * rough:
                continue
            if spacing_m[row, col] > SPARSEST_M and depth <= LONE_STEEP * spacing_m[row, col]:
                continue
            own = -1
            for at in range(start[row * cols + col], start[row * cols + col + 1]):
                i = held[at]
                if not is_stray[i] and enh[i, 2] == height[row, col]:
                    own = i
                    break
            if own < 0:
                continue
            far = FAR_COMPANY_SPACINGS if spacing_m[row, col] > SPARSEST_M else COMPANY_SPACINGS
            reach_m = max(COMPANY_M, far * spacing_m[row, col])
            company = 0
            cells = int(np.ceil(reach_m / cell_m))
            for r in range(max(0, row - cells), min(rows, row + cells + 1)):
                first, last = max(0, col - cells), min(cols - 1, col + cells)
                for at in range(start[r * cols + first], start[r * cols + last + 1]):
                    i = held[at]
                    if i == own or is_stray[i]:
                        continue
                    d_east, d_north = enh[i, 0] - enh[own, 0], enh[i, 1] - enh[own, 1]
                    if d_east * d_east + d_north * d_north > reach_m * reach_m:
                        continue
                    if level + plane[1] * d_east + plane[2] * d_north - enh[i, 2] >= 0.5 * depth:
                        company += 1
            if company < _least_company(spacing_m[row, col]):
                found.append(own)
    return np.array(found, np.int64)


@compiled
def _least_company(spacing_m: float) -> int:
    """Other returns that the lowest one needs near by and nearly as deep, where returns lie so far apart."""
    return LEAST_COMPANY if spacing_m < SPARSE_M else 1


@compiled
def _neighbours(
    near: NDArray[np.float64],
    height: NDArray[np.float64],
    east: NDArray[np.float64],
    north: NDArray[np.float64],
    is_bare: Mask,
    row: int,
    col: int,
    cell_m: float,
) -> tuple[int, int]:
    """How many bare neighbours there are, and half the width in cells of the neighbourhood that holds enough.

    How far east, north and up each lies in metres, and its weight, are written into `near`.
    """
    rows, cols = height.shape
    n = reach = 0
    for reach in REACHES:
        n = 0
        for r in range(max(0, row - reach), min(rows, row + reach + 1)):
            for c in range(max(0, col - reach), min(cols, col + reach + 1)):
                if is_bare[r, c] and np.isfinite(height[r, c]) and not (r == row and c == col):
                    near[n, 0] = (c - col) * cell_m + east[r, c] - east[row, col]
                    near[n, 1] = (r - row) * cell_m + north[r, c] - north[row, col]
                    near[n, 2] = height[r, c] - height[row, col]
                    n += 1
        if n >= LEAST_NEIGHBOURS:
            break
    width = 0.6 * (reach + 0.5) * cell_m
    for k in range(n):
        e, n_ = near[k, 0], near[k, 1]
        near[k, 3] = np.exp(-(e * e + n_ * n_) / (width * width))
    return n, reach


@compiled
def _draw_plane(plane: NDArray[np.float64], near: NDArray[np.float64]) -> None:
    """Write level and slopes of the plane through the neighbours, from the return in the middle."""
    plane[:] = 0.0
    for turn in range(3):
        t = x = y = z = xx = yy = xy = xz = yz = 0.0
        for k in range(len(near)):
            e, n_, h, w = near[k]
            if turn > 0:
                rest = (h - plane[0] - plane[1] * e - plane[2] * n_) / SOFT_M
                w /= 1.0 + rest * rest
            t += w
            x += w * e
            y += w * n_
            z += w * h
            xx += w * e * e
            yy += w * n_ * n_
            xy += w * e * n_
            xz += w * e * h
            yz += w * n_ * h
        t = max(t, 1e-12)
        x, y, z = x / t, y / t, z / t
        xx, yy, xy, xz, yz = xx / t, yy / t, xy / t, xz / t, yz / t
        ease = 0.01 * (xx + yy) + 1e-9
        xx, yy, xy, xz, yz = xx - x * x + ease, yy - y * y + ease, xy - x * y, xz - x * z, yz - y * z
        determinant = xx * yy - xy * xy
        plane[1] = (xz * yy - yz * xy) / determinant
        plane[2] = (yz * xx - xz * xy) / determinant
        plane[0] = z - plane[1] * x - plane[2] * y


@compiled
def _roughness(plane: NDArray[np.float64], near: NDArray[np.float64]) -> float:
    """Mean distance of the neighbours from their plane in metres."""
    total = off = 0.0
    for k in range(len(near)):
        e, n_, h, w = near[k]
        total += w
        off += w * abs(h - plane[0] - plane[1] * e - plane[2] * n_)
    return float(off / max(total, 1e-12))
