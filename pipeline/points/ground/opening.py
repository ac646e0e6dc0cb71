"""Openings of a grid of heights with round windows: what is left when everything narrower than the window is cut off.

An opening lowers each cell to the highest level at which a window that holds the cell fits under the heights. Cells
without a height neither carry nor stop a window, so that sparse surveys need no made-up heights. The windows are
octagons, each made of the next smaller one and a 3 x 3 cross or square; an opening with a wider octagon therefore
never keeps what a narrower one cut off (granulometry; Matheron 1975), and the reach of each is twice its radius.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.lattice.grid import Heights
from pipeline.lattice.windows import along, highest_around

SQUARE_SHARE = 0.414
"""Half the side of the square that an octagon of radius 1 is made of: sqrt(2) - 1, which makes the octagon regular."""


def height_lost(heights: Heights, /, *, radii: range, margin: int = 0) -> Iterator[tuple[int, Heights]]:
    """Each radius in cells, and by how much its opening lowers each cell below the opening before it.

    Parameters
    ----------
    heights : (rows, cols), metres
        inf where a cell has no height; nothing is lost there.
    radii : range
        Ascending, in cells.
    margin : int
        How many cells from the nearest height, along rows and columns, the middle of a window may lie.
    """
    known = np.isfinite(heights)
    before = heights
    for radius in radii:
        opened = opening(heights, radius_cells=radius, margin=min(margin, radius))
        lost = np.zeros_like(heights)
        lost[known] = before[known] - opened[known]
        yield radius, lost
        before = opened


def opening(heights: Heights, /, *, radius_cells: int, margin: int = 0) -> Heights:
    """(rows, cols): the opening with an octagon; inf marks cells without a height.

    The middle of a window lies at most `margin` cells from one with a height: the rim of the survey is where heights
    end, not where the grid does, which is elsewhere in the next block.
    """
    wide = np.pad(heights, margin, constant_values=np.inf)
    low = _sweep(wide, radius_cells, pick=np.minimum, outside=np.inf)
    low[np.isposinf(low) | (highest_around(np.isfinite(wide).view(np.uint8), margin) == 0)] = -np.inf
    opened = _sweep(low, radius_cells, pick=np.maximum, outside=-np.inf)
    return opened[margin : margin + heights.shape[0], margin : margin + heights.shape[1]]


def _sweep(heights: Heights, radius: int, /, *, pick: np.ufunc, outside: float) -> Heights:
    """Lowest or highest cell of the octagon around each cell."""
    half_side = round(SQUARE_SHARE * radius)
    diamond = radius - half_side
    swept = np.pad(heights, radius, constant_values=outside)
    if half_side:
        swept = along(along(swept, 2 * half_side + 1, 1, 0, pick), 2 * half_side + 1, 0, 1, pick)
    if diamond > 1:
        swept = along(along(swept, diamond, 1, 1, pick), diamond, 1, -1, pick)
    if diamond:
        upright = pick(swept[:-2, 1:-1], swept[2:, 1:-1])
        level = pick(swept[1:-1, :-2], swept[1:-1, 2:])
        swept = pick(pick(upright, level), swept[1:-1, 1:-1])
    return swept
