"""Ground that no return saw well enough: where the surface may be far off although it looks like any other.

Between returns the surface is stretched. Over an even slope it is right however far apart they lie; where the ground
bends as well it is off by about the distance to the next return times the bend. Returns of crowns that pass for ground
on a dark slope bend the surface as no ground does, so they show in this too, though a "ground return" lies near.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from pipeline.lattice.fill import fill_voids
from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.grid import Grid, Heights, Mask

BEND_M = 1.0
"""Standard deviation of the bell under which the slope of the ground is taken. Our choice."""
AROUND_M = 4.0
"""That of the bell for the slope round about, with which it is compared. Our choice."""


def doubt_in_ground(bare_earth: Heights, ground_support: Heights, grid: Grid, /) -> Heights:
    """How far the surface may be off: the distance to the nearest ground return times how much the ground bends.

    The bend is the difference between the slope under a bell of `BEND_M` and that under one of `AROUND_M`, both as
    rise over run, with their directions.

    Parameters
    ----------
    bare_earth : (rows, cols) float32, metres, something known in it
    ground_support : (rows, cols) float32, metres to the nearest ground return

    Returns
    -------
    (rows, cols) float32, metres; 0 where no surface is known.
    """
    filled, unknown = fill_voids(bare_earth)
    near, around = (gaussian(filled, width_m / grid.cell_m, rim="nearest") for width_m in (BEND_M, AROUND_M))
    north, east = np.gradient(near - around, grid.cell_m)
    return np.where(unknown, 0, ground_support * np.hypot(north, east)).astype(np.float32)


DOUBTFUL_M = 0.35
"""Doubt in the ground from which a cell counts as not seen, in metres. Bells round a bend off, so that the surface is
off by several times this. Fitted on a made steep scene and two blocks of Alpine relief under invented forest, none of
them kept apart: every patch over 25 m2 that lay more than 1.5 m off is marked for more than half, and between 3 and 6
of 10 of the cells lie more than 1 m off. With 0.25 the share falls to between 1 and 3 of 10, with 0.5 a patch is
missed."""
DOUBTFUL_M2 = 25.0
"""Least area in square metres of ground not seen: smaller patches move no contour that can be told on the map, and
would print as dots. Our choice."""
UNSEEN_TRUST = 0.5
"""Share of the trust in ground and of the confidence in rock that is left on ground not seen: on a made steep scene and
two blocks of Alpine relief between 3 and 6 of 10 of its cells were more than 1 m off."""


def hardly_seen(bare_earth: Heights, ground_support: Heights, grid: Grid, /) -> Mask:
    """(rows, cols) bool: cells of patches of `DOUBTFUL_M2` and more in which the doubt is `DOUBTFUL_M` or more.

    Parameters
    ----------
    bare_earth, ground_support : as for `doubt_in_ground`, but nothing need be known
    """
    if not np.isfinite(bare_earth).any() or min(grid.shape) < 2:
        return np.zeros(grid.shape, np.bool_)
    patch, _ = ndimage.label(doubt_in_ground(bare_earth, ground_support, grid) >= DOUBTFUL_M)
    is_large = np.bincount(patch.ravel()) * grid.cell_m**2 >= DOUBTFUL_M2
    is_large[0] = False
    return np.asarray(is_large[patch], np.bool_)
