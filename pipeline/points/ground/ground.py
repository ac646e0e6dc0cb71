"""Ground: which returns came from the bare earth.

The four parts of the work are done in this order, each by its own module: the lowest returns of cells are taken
(lowest.py); windows cut off what stands out of them (objects.py), and terrain among it is put back (gentle_ways.py);
low plants are taken off by planes through their neighbours (plants.py); what lies near the surface through the rest is
ground (near_surface.py).
"""

from __future__ import annotations

import numpy as np

from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.points.ground.gentle_ways import is_gently_reached
from pipeline.points.ground.lowest import GROUND_CELL_M, Lowest, lowest_returns
from pipeline.points.ground.near_surface import lies_near, near_surface
from pipeline.points.ground.objects import cut_at
from pipeline.points.ground.plants import stands_out

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
    lowest = lowest_returns(enh[index], cell_m=GROUND_CELL_M)
    is_bare = bare_cells(lowest, window_m=window_m, plant_m=plant_m)
    ground[index] = near_surface(enh[index], lowest, is_bare)
    return ground


def bare_cells(lowest: Lowest, /, *, window_m: float, plant_m: float) -> Mask:
    """(rows, cols) bool: cells whose lowest return is ground. The settings are those of `find_ground`."""
    cut = cut_at(lowest, window_m=window_m)
    is_bare: Mask = lowest.is_known & ((cut == 0) | is_gently_reached(lowest, cut))
    is_bare &= ~stands_out(lowest, is_bare, plant_m=plant_m)
    for _ in range(JOIN_ROUNDS):
        is_bare |= lies_near(lowest, is_bare)
        is_bare &= ~stands_out(lowest, is_bare, plant_m=plant_m)
    return is_bare
