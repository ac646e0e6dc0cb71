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
