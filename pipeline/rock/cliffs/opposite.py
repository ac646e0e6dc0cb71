"""The slope opposite a face: sunken lanes, ditches and gullies have two sides, each as steep as a blurred low cliff."""

from __future__ import annotations

import numpy as np

from pipeline.lattice.grid import Grid
from pipeline.lattice.sampling import bilinear, row_col_between
from pipeline.rock.cliffs.falls import Floats

TRENCH_M = 12.0
"""How far from the edge of a face the side opposite it begins at most: a lane for a cart and its bank (our choice)."""
SIDE_M = 3.0
"""Ground distance within which that side rises; a slope that takes longer is the other side of a valley (our
choice)."""
OPPOSITE_SHARE = 0.5
"""Height of that side, as a share of the height of the face, from which the two make a trench (our choice)."""
STEP_M = 0.5
"""Profiles are read at steps of this."""


def share_with_opposite(edge: Floats, down: Floats, height_m: float, heights: Floats, grid: Grid, /) -> float:
    """Share of the places along a face before which the ground rises again as steeply, 0..1.

    Parameters
    ----------
    edge : (n, 2) metres, places along the upper edge
    down : (n, 2) unit vectors down the face
    height_m : of the face
    heights : (rows, cols) metres, without gaps
    """
    reach = np.arange(0.0, TRENCH_M + SIDE_M, STEP_M)
    places = edge[:, None, :] + down[:, None, :] * reach[None, :, None]
    row, col = row_col_between(places.reshape(-1, 2), grid)
    profile = bilinear(heights, row, col).reshape(len(edge), -1)
    run = round(SIDE_M / STEP_M)
    rise = profile[:, run:] - profile[:, :-run]
    return float((rise.max(axis=1) >= OPPOSITE_SHARE * height_m).mean())
