"""Low plants among the lowest returns: what rises out of the plane through the lower of its neighbours.

The planes are drawn several times, each time with less weight on the neighbours that stood above their own plane
(asymmetric weights, after Kraus and Pfeifer 1998).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Mask
from pipeline.points.ground.gentle_ways import WAY_SLOPE, WAY_STEP_M
from pipeline.points.ground.lowest import Lowest, spacing_of
from pipeline.points.ground.neighbours import Neighbours, coarse_lowest, neighbours_of

PLANT_M_PER_M = 0.12
"""Metres that the height from which a return is a plant grows by for each metre between returns. Sparse surveys are old
and less exact, and their planes see less of the bends of the ground. Our choice."""
PLANT_SLOPE_SHARE = 0.4
"""Share of the rise of the plane, over the width of its neighbourhood, that the height from which a return is a plant
grows by: on slopes, errors of place are errors of height. Our choice."""
PLANT_ROUGHNESS = 4.0
"""Metres that the height from which a return is a plant grows by for each metre of roughness below the plane. Plants
stand above the ground and make no roughness below it; rocks and edges do, and are spared. Our choice."""
PIT_M = 1.5
"""Metres below the plane of its neighbours from which a lone return is an echo that took a detour. Our choice."""
PIT_FACTOR = 4.0
"""How many times the height from which a return is a plant that depth grows by: where the ground is rough, real hollows
are deeper. Our choice."""
LIP_M = 1.0
"""Metres above the plane from which a return may be the lip of a cliff instead of a plant. Our choice."""
LIP_SHARE = 0.5
"""Share of the neighbours to which a gentle way must lead from the lip of a cliff: at a straight edge half of them or
more lie behind it or beside it, while a plant stands alone."""
LEAST_NEIGHBOURS = 7
"""Fewest neighbours through which a plane is drawn. With fewer, wider cells are looked at. Our choice."""
HALF_WEIGHT_SHARE = 0.5
"""A neighbour has half its weight left when it stands above its own plane by this share of the height from which it
would be a plant. Smaller figures draw the planes to the lowest returns, and ground is called plant. Our choice."""
ROUNDS = 3
"""How often the planes are drawn. Each further round lets returns one neighbourhood further out decide. Our choice."""
PLANE_EASE = 0.01
"""Share of the neighbours' spread, squared, that is added to it in every direction when a plane is drawn, so that
neighbours in a row do not tip the plane across the row. Our choice."""


Numbers = NDArray[np.float64]
Places = NDArray[np.int64]


def stands_out(lowest: Lowest, is_bare: Mask, /, *, plant_m: float) -> Mask:
    """(rows, cols) bool: bare cells whose lowest return rises out of the plane through the lower of its neighbours.

    Each is judged on the finest cells (1, 2 or 4 times as wide as those of the lowest returns) that give it enough
    neighbours.

    Parameters
    ----------
    plant_m : float
        Height above the plane from which a return is a plant, on level ground of a dense survey.
    """
    out = np.zeros(is_bare.shape, np.bool_)
    is_open = is_bare.copy()
    spacing_m = spacing_of(lowest)
    for factor, reach in ((1, 1), (2, 1), (2, 2), (4, 2)):
        place = coarse_lowest(lowest, is_bare, factor)
        asked = is_open[place]
        if not asked.any():
            break
        # What a plane rests on is known one neighbourhood further out for each time it is drawn.
        hops = ROUNDS - 1
        near = neighbours_of(lowest, place, asked, factor=factor, reach=reach, hops=hops)
        planes = _fit_planes(near, plant_m + PLANT_M_PER_M * spacing_m[place][near.own])
        judged = planes.is_known & asked[near.own]
        row, col = (axis[near.own][judged] for axis in place)
        # Only neighbours next to it can tell a lip: across 5 m and more, plants of one height look level too.
        is_lip = (planes.above > LIP_M) & (planes.level_share >= LIP_SHARE)
        is_lip &= factor * reach == 1
        is_plant = (planes.above > planes.limit_m) & ~is_lip
        # A lone return deep below its neighbours is an echo that took a detour.
        is_detour = planes.above < -(PIT_M + PIT_FACTOR * planes.limit_m)
        out[row, col] = (is_plant | is_detour)[judged]
        is_open[row, col] = False
    return out


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
        Share of the neighbours to which a gentle way leads: the lip of a cliff has many, a plant few. 0 where the
        return lies too low for a lip (`LIP_M`).
    is_known : (m,) bool
        Enough neighbours to tell.
    """

    above: NDArray[np.float64]
    limit_m: NDArray[np.float64]
    level_share: NDArray[np.float64]
    is_known: Mask


def _fit_planes(near: Neighbours, steady_m: NDArray[np.float64], /) -> Planes:
    """Planes drawn to the lower neighbours: those above their own plane lose weight, and the planes are drawn anew.

    `steady_m` is the height above the plane from which each of the m returns would be a plant on smooth level ground.
    """
    trust = np.ones(near.n_returns)
    level, slope_east, slope_north = planes = np.empty((3, len(near.own)))
    limit_m = steady_m
    for turn in range(ROUNDS):
        if turn > 0:
            trust[near.own] = 1 / (1 + (np.maximum(-level, 0) / (HALF_WEIGHT_SHARE * limit_m)) ** 2)
        _draw_planes(planes, near.which, near.weight, near.east, near.north, near.height, trust)
        slope = np.hypot(slope_east, slope_north)
        limit_m = steady_m + PLANT_SLOPE_SHARE * near.width_m * slope
    below_m = _depth_below(planes, near.which, near.weight, near.east, near.north, near.height, trust)
    n_level, n_neighbours = _count_level(near.weight, near.east, near.north, near.height, -level > LIP_M)
    limit_m = limit_m + PLANT_ROUGHNESS * below_m
    level_share = n_level / np.maximum(n_neighbours, 1)
    return Planes(-level, limit_m, level_share, n_neighbours >= LEAST_NEIGHBOURS)


@compiled
def _draw_planes(
    planes: Numbers, which: Places, weight: Numbers, east: Numbers, north: Numbers, height: Numbers, trust: Numbers
) -> None:
    """Write into (3, m) the level, slope to the east and slope to the north of the plane through each's neighbours.

    As `pipeline.lattice.planes.weighted_plane`, with the weights of the neighbours times the trust in them.
    """
    for i in range(len(which)):
        total = x = y = z = xx = yy = xy = xz = yz = 0.0
        for k in range(which.shape[1]):
            w = weight[i, k] * trust[which[i, k]]
            e, n, h = east[i, k], north[i, k], height[i, k]
            total += w
            x += w * e
            y += w * n
            z += w * h
            xx += w * (e * e)
            yy += w * (n * n)
            xy += w * (e * n)
            xz += w * (e * h)
            yz += w * (n * h)
        total = max(total, 1e-9)
        x, y, z = x / total, y / total, z / total
        xx, yy, xy, xz, yz = xx / total, yy / total, xy / total, xz / total, yz / total
        ease = PLANE_EASE * (xx + yy) + 1e-9
        xx, yy, xy, xz, yz = xx - x * x + ease, yy - y * y + ease, xy - x * y, xz - x * z, yz - y * z
        determinant = xx * yy - xy * xy
        planes[1, i] = (xz * yy - yz * xy) / determinant
        planes[2, i] = (yz * xx - xz * xy) / determinant
        planes[0, i] = z - planes[1, i] * x - planes[2, i] * y


@compiled
def _depth_below(
    planes: Numbers, which: Places, weight: Numbers, east: Numbers, north: Numbers, height: Numbers, trust: Numbers
) -> Numbers:
    """(m,) metres: root mean square depth of the neighbours below the plane, those above counted as on it."""
    depth = np.empty(len(which))
    for i in range(len(which)):
        total = square = 0.0
        for k in range(which.shape[1]):
            w = weight[i, k] * trust[which[i, k]]
            rest = height[i, k] - planes[0, i] - planes[1, i] * east[i, k] - planes[2, i] * north[i, k]
            total += w
            square += w * min(rest, 0.0) ** 2
        depth[i] = np.sqrt(square / max(total, 1e-9))
    return depth


@compiled
def _count_level(weight: Numbers, east: Numbers, north: Numbers, height: Numbers, asked: Mask) -> tuple[Places, Places]:
    """(m,) twice: neighbours to which a gentle way leads, 0 where that is not asked, and all neighbours."""
    n_level, n_all = np.zeros(len(weight), np.int64), np.zeros(len(weight), np.int64)
    for i in range(len(weight)):
        for k in range(weight.shape[1]):
            if weight[i, k] > 0:
                n_all[i] += 1
                if not asked[i]:
                    continue
                limit_m = WAY_STEP_M + WAY_SLOPE * np.hypot(east[i, k], north[i, k])
                n_level[i] += abs(height[i, k]) <= limit_m
    return n_level, n_all
