"""Ground: which returns came from the bare earth.

The parts of the work are done in this order, each by its own module: the lowest returns of cells are taken (lowest.py),
and of them those that lie alone far below the rest are left out (strays.py); windows cut off what stands out of them
(objects.py), and terrain among it is put back (gentle_ways.py); low plants are taken off by planes through their
neighbours (plants.py), crowns on dark slopes by what is ground beyond doubt around them (islands.py), and stray low
returns by the want of company (strays.py); what lies near the surface through the rest is ground (near_surface.py), in
a dense survey as far as low growth allows (low_growth.py), and with it the crowns of walls (solid.py); boughs in front
of a cliff are not (edges.py).
"""

from __future__ import annotations

import numpy as np

from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.points.ground.gentle_ways import is_gently_reached
from pipeline.points.ground.islands import doubtful_islands, near_lowest
from pipeline.points.ground.lowest import GROUND_CELL_M, Lowest, lowest_returns, taken
from pipeline.points.ground.near_surface import hand_on_surface, lies_near, near_surface
from pipeline.points.ground.objects import cut_at
from pipeline.points.ground.plants import stands_out
from pipeline.points.ground.strays import InCells, without_lone_lows, without_strays

JOIN_ROUNDS = 2
"""How often cells near the surface join the bare ones and plants are taken off again. Our choice."""


def find_ground(enh: EastNorthHeight, is_candidate: Mask, /, *, window_m: float, plant_m: float) -> Mask:
    """(n,) bool: returns of the bare earth.

    Parameters
    ----------
    enh : (n, 3) float64, metres
    is_candidate : (n,) bool
        Returns that may be ground: usable, not noise, last of their pulse.
    window_m : float
        Half the width of the widest object to take off the ground.
    plant_m : float
        Height above the plane of its neighbours from which a return is a plant, on level ground of a dense survey.
    """
    ground = np.zeros(len(enh), np.bool_)
    index = np.flatnonzero(is_candidate)
    if len(index) == 0:
        return ground
    mine = taken(enh, index)
    lowest, is_bare, is_stray = bare_cells(mine, window_m=window_m, plant_m=plant_m)
    kept = np.flatnonzero(~is_stray)
    # The name is given anew, so that the returns are held once: a block needs most memory in `near_surface`.
    mine = taken(mine, kept)
    ground[index[kept]] = near_surface(mine, lowest, is_bare)
    return ground


def bare_cells(enh: EastNorthHeight, /, *, window_m: float, plant_m: float) -> tuple[Lowest, Mask, Mask]:
    """The lowest returns, (rows, cols) bool, where they are ground, and (n,) bool, the returns that are stray.

    The settings are those of `find_ground`. Strays are taken out once plants are, so that they are judged by ground.
    """
    lowest = lowest_returns(enh, cell_m=GROUND_CELL_M)
    inside = InCells.of(enh, lowest)
    lowest, is_stray = without_lone_lows(enh, lowest, inside)
    cut = cut_at(lowest, window_m=window_m)
    is_bare: Mask = lowest.is_known & ((cut == 0) | is_gently_reached(lowest, cut))
    is_bare &= ~stands_out(lowest, is_bare, plant_m=plant_m)
    n_near = near_lowest(enh, lowest)
    for turn in range(JOIN_ROUNDS):
        is_bare &= ~doubtful_islands(lowest, is_bare, n_near)
        if turn == JOIN_ROUNDS - 1:
            fresh, is_bare, is_stray = without_strays(enh, lowest, is_bare, inside, is_stray)
            hand_on_surface(lowest, is_bare, fresh)
            lowest = fresh
        is_bare |= lies_near(lowest, is_bare)
        is_bare &= ~stands_out(lowest, is_bare, plant_m=plant_m)
    return lowest, is_bare, is_stray
