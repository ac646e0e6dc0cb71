"""What lies near the cells of a mask."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from pipeline.lattice.grid import Mask


def within_reach(cells: Mask, /, *, reach_m: float, cell_m: float) -> Mask:
    """(rows, cols) bool: cells whose centre lies at most so far from that of a set cell, which are among them."""
    if not cells.any():
        return np.zeros_like(cells)
    return np.asarray(ndimage.distance_transform_edt(~cells) * cell_m <= reach_m)


def wide_enough(cells: Mask, /, *, width_m: float, cell_m: float) -> Mask:
    """(rows, cols) bool: the cells of a mask that a disc of this width inside the mask covers; none lie beyond the rim.

    What a cell becomes depends on the cells within the width alone, wherever the mask begins and ends.
    """
    half_m = width_m / 2
    # A cell reaches half its side beyond its centre, towards the edge of the mask.
    inside_m = (ndimage.distance_transform_edt(np.pad(cells, 1))[1:-1, 1:-1] - 0.5) * cell_m
    covered = within_reach(inside_m >= half_m, reach_m=half_m + cell_m / 2, cell_m=cell_m)
    return np.asarray(covered & cells)
