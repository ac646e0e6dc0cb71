"""What the producer of a survey says that people built: its classes of buildings, wires, pylons and bridges."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Mask
from pipeline.returns.asprs import BRIDGE, BUILDING, TOWER, WIRE

LEAST_HEIGHT_M = {BUILDING: 1.5, WIRE: 5.0, TOWER: 2.0, BRIDGE: 0.5}
"""Least height above our ground, in metres, at which each class of the producer is believed: lower returns of class 6
are yards and walls, of class 14 noise. Our choice."""


def told_structures(producer_class: NDArray[np.uint8], above_m: NDArray[np.float32], is_open: Mask, /) -> Mask:
    """(n,) bool: returns that the producer gave to a building, wire, pylon or bridge, and that stand high enough.

    Producers have seen images and maps, and know small houses in thin surveys which no filter can tell from boulders.

    Parameters
    ----------
    producer_class : (n,) uint8, as delivered
    above_m : (n,) float32, metres above the bare earth
    is_open : (n,) bool
        Neither ground nor noise nor water.
    """
    least = np.full(256, np.inf, np.float32)
    least[list(LEAST_HEIGHT_M)] = list(LEAST_HEIGHT_M.values())
    return np.asarray(is_open & (above_m >= least[producer_class]))
