"""Barriers of the bare earth that water passes in nature: tracks over streams, whose culverts lidar does not see."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.windows import lowest_around

DAM_MAX_WIDTH_M = 14.0
"""Width in metres of the widest barrier that water is led through: the foot of a track's bank, with its ditch. With
less, streams end at tracks; with more, water is led through spurs. Our choice."""
DAM_MAX_HEIGHT_M = 2.5
"""Height in metres of the highest barrier that water is led through: a bank over a culvert, not a spur. Our choice."""
DAM_MIN_DROP_M = 0.05
"""How much lower, in metres, the ground beyond a barrier must be than the hollow before it: smaller differences are
noise of the bare earth. Our choice."""


def without_dams(heights: NDArray[np.float64], cell_m: float, /) -> NDArray[np.float64]:
    """Heights with a cut from each hollow to the nearest lower ground beyond a low, narrow barrier.

    A track over a stream is a dam in the bare earth, as its culvert is not seen. Breaching within a search distance
    follows Lindsay & Dhun 2015 (International Journal of Geographical Information Science 29 (5), 846-862), along a
    straight line instead of the cheapest one. Hollows are taken from the lowest up, ties by position.
    """
    cut = heights.copy()
    reach = max(2, round(DAM_MAX_WIDTH_M / cell_m))
    rows, cols = heights.shape
    lowest = lowest_around(np.where(np.isfinite(heights), heights, np.inf), 1)
    hollows = np.flatnonzero((heights <= lowest) & np.isfinite(heights))
    hollows = hollows[np.lexsort((hollows, heights.ravel()[hollows]))]
    down, right = np.mgrid[-reach : reach + 1, -reach : reach + 1].reshape(2, -1)
    distance = np.hypot(down, right)
    near_first = np.lexsort((right, down, distance))
    near_first = near_first[(distance[near_first] > 1.5) & (distance[near_first] <= reach)]
    for at in hollows.tolist():
        row, col = divmod(at, cols)
        r, c = row + down[near_first], col + right[near_first]
        inside = (r >= 0) & (r < rows) & (c >= 0) & (c < cols)
        lower = np.flatnonzero(inside)[heights[r[inside], c[inside]] < heights[row, col] - DAM_MIN_DROP_M]
        if len(lower):
            _cut_through(cut, (row, col), (int(r[lower[0]]), int(c[lower[0]])), DAM_MAX_HEIGHT_M)
    return cut


def _cut_through(heights: NDArray[np.float64], start: tuple[int, int], end: tuple[int, int], most_m: float) -> None:
    """Lower the cells between two places to an even fall, where the barrier is no higher than `most_m`."""
    n = max(abs(end[0] - start[0]), abs(end[1] - start[1]))
    t = np.linspace(0, 1, n + 1)
    rows, cols = (np.rint(a + (b - a) * t).astype(int) for a, b in zip(start, end, strict=True))
    fall = heights[start] + (heights[end] - heights[start]) * t
    if np.all(heights[rows, cols] - heights[start] <= most_m):
        heights[rows, cols] = np.minimum(heights[rows, cols], fall)
