"""What windows cut off: houses, crowns and other objects that stand out of the terrain, and some terrain with them.

The surface of the lowest returns is opened with wider and wider windows (opening.py). How much height a window may take
from a cell before the cell counts as cut off grows with the window and with the slope of the terrain around (after
Zhang et al. 2003 and Pingel et al. 2013, doi:10.1016/j.isprsjprs.2012.12.002; the loss from one window to the next is
the differential profile of Pesaresi and Benediktsson 2001).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Heights, Mask
from pipeline.lattice.means import Known, gaussian_window
from pipeline.points.ground.lowest import Lowest
from pipeline.points.ground.opening import height_lost

EDGE_M = 3.0
"""How far, in metres, the middle of a window may lie outside the survey. With 0, banks and slopes that rise towards the
edge of the survey are cut off; with much more, half a house at the edge stays. Our choice."""
FIRST_SLOPE = 0.15
"""Height a window may take off at the first look, in metres for each metre of its radius, everywhere alike: the one set
of figures for all samples of Pingel et al. 2013."""
SLOPE_SIGMA_M = 6.0
"""Standard deviation, in metres, of the gaussian window in which the slope of the terrain is taken: wider than the
edges of objects the first look left, narrower than a hillside. Our choice."""
LEVEL_SLOPE = 0.1
"""Height a window may take off on level ground at the second look, in metres for each metre of its radius. Smaller
figures cut off the shapes of flat land, greater ones keep low roofs. Our choice."""
SLOPE_SHARE = 0.3
"""Share of the slope of the terrain that the height a window may take off, per metre of its radius, grows by: a window
cuts more off the crests and edges of steep land. Our choice."""
STEP_M = 0.1
"""Height in metres that any window may take off besides: noise of the heights and roughness of the ground. Our
choice."""


def cut_at(lowest: Lowest, /, *, window_m: float) -> NDArray[np.int16]:
    """(rows, cols) radius in cells of the narrowest window that cuts the cell off; 0 where none does.

    A first look allows every window the same loss for its radius; what it leaves is smooth enough to tell the slope of
    the terrain, which the second look allows for.

    Parameters
    ----------
    window_m : float
        Radius of the widest window.
    """
    heights = lowest.height.astype(np.float32)
    radii = range(1, round(window_m / lowest.cell_m) + 1)
    losses = list(height_lost(heights, radii=radii, margin=round(EDGE_M / lowest.cell_m)))
    cut = np.zeros(heights.shape, np.bool_)
    for radius, lost in losses:
        cut |= lost > FIRST_SLOPE * radius * lowest.cell_m
    steepness = _terrain_slope(lowest, lowest.is_known & ~cut, sigma_m=SLOPE_SIGMA_M)
    allowed = LEVEL_SLOPE + SLOPE_SHARE * steepness
    first_cut = np.zeros(heights.shape, np.int16)
    for radius, lost in losses:
        is_cut = lost > STEP_M + allowed * (radius * lowest.cell_m)
        first_cut[is_cut & (first_cut == 0)] = radius
    return first_cut


def _terrain_slope(lowest: Lowest, is_bare: Mask, /, *, sigma_m: float) -> Heights:
    """(rows, cols) rise over run of the smoothed bare cells; 0 where none is near."""
    bare = Known.of(is_bare, gaussian_window(sigma_m / lowest.cell_m, rim="constant", truncate=2.5))
    level = bare.mean(lowest.height)
    level[bare.share < 1e-6] = np.nan
    if min(level.shape) < 2:
        return np.zeros(level.shape, np.float32)
    north, east = np.gradient(level, lowest.cell_m)
    return np.asarray(np.nan_to_num(np.hypot(north, east)), np.float32)
