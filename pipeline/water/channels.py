"""Running water: where water gathers and the ground shows a channel or a narrow valley floor."""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import LineString

from pipeline.lattice.grid import EastNorth, Grid, Heights
from pipeline.lattice.larger_cells import cells_times_as_wide, highest_into, lowest_into
from pipeline.lattice.means import Known, gaussian_window
from pipeline.lattice.skeleton import rounded
from pipeline.lattice.windows import lowest_around
from pipeline.settings import WaterSettings

FLOW_CELL_M = 2.0
"""Side of the cells water is led over: about the width of a small channel."""
DAM_MAX_WIDTH_M = 14.0
"""Widest barrier water is led through: the foot of a track's bank, with its ditch."""
DAM_MAX_HEIGHT_M = 2.5
"""Highest barrier water is led through: a bank over a culvert, not a spur."""
DAM_MIN_DROP_M = 0.05
"""How much lower the ground beyond must be: less is the noise of the bare earth."""
CHANNEL_NOISE_M = 0.75
"""Sigma of the smoothing of the bare earth before channels are looked for."""
CHANNEL_SIDE_M = 6.0
"""Distance at which the sides of a channel are compared with its bed."""
CHANNEL_SMOOTH_M = 20.0
"""Length over which the depth is judged, so that one culvert does not end a stream."""
CHANNEL_TOLERANCE_M = 0.5
"""Vertices that move a channel by less are dropped: a quarter of its line's width."""
CHANNEL_MIN_LENGTH_M = 41.0
"""Shortest channel: two dashes of 306, 2.75 mm at 1:15 000 (from memory)."""

NEIGHBOURS = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))


@dataclass(frozen=True)
class Channel:
    """A stretch of channel, its line running downstream.

    Attributes
    ----------
    line : LineString in the working CRS
    depth_m : float
        Median height of the lower of both sides above the channel, `channel_side_m` away.
    drained_m2 : float
        Ground that drains to its lower end, as far as the survey reaches.
    is_fed_from_outside : bool
        A valley enters the survey above it, so that it drains more than was seen.
    """

    line: LineString
    depth_m: float
    drained_m2: float
    is_fed_from_outside: bool


@dataclass(frozen=True)
class Drainage:
    """Flow over a grid of coarse cells.

    Attributes
    ----------
    receiver : (n,) int64
        Flat index of the cell that each cell drains to; -1 at the edge of the survey.
    order : (n,) int64
        Cells with ground, each after the cell it drains to.
    """

    receiver: NDArray[np.int64]
    order: NDArray[np.int64]


def find_channels(bare_earth: Heights, grid: Grid, /, *, settings: WaterSettings) -> list[Channel]:
    """Stretches of channel, longest first.

    Water is led over the bare earth, out of every hollow by its lowest way out. Where enough ground drains to a place
    and the ground rises on both sides within a few metres, a channel is proposed; whether there is water in it, and
    how long in the year, lidar does not tell.
    """
    every = max(1, round(FLOW_CELL_M / grid.cell_m))
    smooth = _smoothed(bare_earth, CHANNEL_NOISE_M / grid.cell_m)
    # The lowest of a coarse cell keeps a channel connected that is narrower than the cell.
    lattice = cells_times_as_wide(grid, every)
    coarse = lowest_into(smooth, grid, lattice, every)
    depth = _channel_depth(smooth, grid, lattice, every)
    drainage = drain(without_dams(coarse, lattice.cell_m))
    fed = _inflow(coarse, depth, drainage, lattice.cell_m, settings=settings)
    drained = _gathered(drainage, np.full(coarse.size, lattice.cell_m**2))
    from_outside = _gathered(drainage, fed)
    is_fed = (from_outside > 0).reshape(coarse.shape)
    wet = ((drained >= settings.channel_min_drained_m2) | (from_outside > 0)).reshape(coarse.shape)
    found: list[Channel] = []
    size = np.where(from_outside > 0, drained.max(initial=0.0) + drained, drained)
    for reach in _reaches(drainage, wet.ravel(), size):
        for part in _incised(depth.ravel()[reach], lattice.cell_m, settings=settings):
            cells = reach[part]
            line = _line(cells, bare_earth, grid, lattice, tolerance_m=CHANNEL_TOLERANCE_M)
            if line.length >= CHANNEL_MIN_LENGTH_M:
                median = float(np.nanmedian(depth.ravel()[cells]))
                found.append(Channel(line, median, float(drained[cells[-1]]), bool(is_fed.ravel()[cells[-1]])))
    return sorted(found, key=lambda channel: (-channel.line.length, channel.line.bounds))


def _smoothed(heights: Heights, sigma_cells: float) -> NDArray[np.float64]:
    """Gaussian mean of the known heights around each known cell; NaN stays NaN."""
    known = Known.of(np.isfinite(heights), gaussian_window(sigma_cells, rim="reflect"))
    return np.where(known.cells, known.mean(heights.astype(np.float64), least_share=1e-9), np.nan)


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


def drain(heights: NDArray[np.float64], /) -> Drainage:
    """Where each cell drains to, with every hollow led out by its lowest way.

    The priority flood of Barnes, Lehman & Mulla 2014 (Computers & Geosciences 62, 117-127): cells are taken in the
    order of the height water must reach to leave them, so each drains to the lowest of its neighbours that was taken
    before. Ties are broken by position. Ground at the rim of the survey drains out of it.
    """
    rows, cols = heights.shape
    padded = np.full((rows + 2, cols + 2), np.nan)
    padded[1:-1, 1:-1] = heights
    width = cols + 2
    steps = [down * width + right for down, right in NEIGHBOURS]
    level = padded.ravel().tolist()
    taken = np.isnan(padded).ravel().tolist()
    ground = np.isfinite(padded)
    rim = ground & ndimage.binary_dilation(~ground, np.ones((3, 3), bool))
    queue = [(level[at], at) for at in np.flatnonzero(rim).tolist()]
    for _, at in queue:
        taken[at] = True
    heapq.heapify(queue)
    receiver = np.full(padded.size, -1, np.int64)
    order = []
    while queue:
        height, at = heapq.heappop(queue)
        order.append(at)
        for step in steps:
            near = at + step
            if not taken[near]:
                taken[near] = True
                receiver[near] = at
                heapq.heappush(queue, (max(level[near], height), near))
    return _without_rim(receiver, np.asarray(order, np.int64), width, cols)


def _without_rim(receiver: NDArray[np.int64], order: NDArray[np.int64], width: int, cols: int) -> Drainage:
    """The drainage in flat indices of the grid without the ring of cells around it."""

    def inner(at: NDArray[np.int64]) -> NDArray[np.int64]:
        return np.where(at < 0, -1, (at // width - 1) * cols + at % width - 1)

    full = inner(receiver).reshape(-1, width)[1:-1, 1:-1].ravel()
    return Drainage(full, inner(order))


def _gathered(drainage: Drainage, own: NDArray[np.float64]) -> NDArray[np.float64]:
    """What each cell receives from itself and all cells above it."""
    total = own.tolist()
    receiver = drainage.receiver.tolist()
    for at in reversed(drainage.order.tolist()):
        below = receiver[at]
        if below >= 0:
            total[below] += total[at]
    return np.asarray(total)


def side_height(heights: NDArray[np.float64], cell_m: float, side_m: float, /) -> NDArray[np.float64]:
    """(rows, cols) metres that the lower side rises above each cell, in the direction in which that is most.

    Of four directions; a plane gives 0 or less whatever its slope, a V gives its depth. NaN beside the edge.
    """
    n = max(1, round(side_m / cell_m))
    diagonal = max(1, round(side_m / cell_m / math.sqrt(2)))
    padded = np.pad(heights, n, constant_values=np.nan)
    rows, cols = heights.shape

    def at(down: int, right: int) -> NDArray[np.float64]:
        return padded[n + down : n + down + rows, n + right : n + right + cols]

    rises = []
    for down, right in ((0, n), (n, 0), (diagonal, diagonal), (diagonal, -diagonal)):
        rises.append(np.minimum(at(down, right), at(-down, -right)) - heights)
    known = np.isfinite(np.array(rises))
    best = np.where(known, rises, -np.inf).max(axis=0)
    return np.where(known.any(axis=0), best, np.nan)


def _channel_depth(smooth: NDArray[np.float64], grid: Grid, lattice: Grid, every: int, /) -> NDArray[np.float64]:
    """Greatest height of the sides in each coarse cell, for channels of the full width and of half of it."""
    wide, narrow = (side_height(smooth, grid.cell_m, CHANNEL_SIDE_M * share) for share in (1.0, 0.5))
    return highest_into(np.fmax(wide, narrow), grid, lattice, every)


def _inflow(
    heights: NDArray[np.float64],
    depth: NDArray[np.float64],
    drainage: Drainage,
    cell_m: float,
    /,
    *,
    settings: WaterSettings,
) -> NDArray[np.float64]:
    """1 in cells just inside the rim of the survey through which a valley enters it, else 0."""
    ground = np.isfinite(heights)
    rim = ground & (drainage.receiver.reshape(heights.shape) < 0)
    low = np.where(rim, heights, np.inf)
    is_lowest = rim & (low <= lowest_around(low, round(CHANNEL_SIDE_M / cell_m)))
    valley = is_lowest & (np.nan_to_num(depth, nan=-1.0) >= settings.channel_min_depth_m)
    fed = np.zeros(heights.size)
    for at in np.flatnonzero(valley).tolist():
        inside = _lowest_inside(heights, drainage, at, round(CHANNEL_SIDE_M / cell_m))
        if inside >= 0:
            fed[inside] = 1.0
    return fed


def _lowest_inside(heights: NDArray[np.float64], drainage: Drainage, at: int, reach: int) -> int:
    """The lowest cell within `reach` cells that leads further into the survey than that; -1 if there is none."""
    rows, cols = heights.shape
    row, col = divmod(at, cols)
    near = np.arange(max(0, row - reach), min(rows, row + reach + 1))[:, None] * cols + np.arange(
        max(0, col - reach), min(cols, col + reach + 1)
    )
    level = heights.ravel()
    for place in sorted(near.ravel().tolist(), key=lambda cell: (level[cell], cell)):
        if not level[place] < level[at]:
            return -1
        end = place
        for _ in range(2 * reach):
            end = int(drainage.receiver[end]) if end >= 0 else -1
        if end >= 0:
            return int(place)
    return -1


def _reaches(drainage: Drainage, wet: NDArray[np.bool_], size: NDArray[np.float64]) -> list[NDArray[np.int64]]:
    """Chains of wet cells, each from its head down to the outlet or to the larger stream it joins.

    Where streams join, the one of greater `size` goes on (Hack's main stream); ties are broken by position.
    """
    receiver = drainage.receiver
    giving = np.flatnonzero(wet & (receiver >= 0))
    giving = giving[wet[receiver[giving]]]
    by_size = giving[np.lexsort((-giving, size[giving], receiver[giving]))]
    is_last = np.append(receiver[by_size][1:] != receiver[by_size][:-1], True)[: len(by_size)]
    main_donor = np.full(len(receiver), -1, np.int64)
    main_donor[receiver[by_size[is_last]]] = by_size[is_last]
    heads = np.flatnonzero(wet & (main_donor < 0))
    chains = []
    for head in heads.tolist():
        chain, at, below = [head], head, int(receiver[head])
        while below >= 0 and wet[below]:
            chain.append(below)
            if main_donor[below] != at:
                break
            at, below = below, int(receiver[below])
        chains.append(np.asarray(chain, np.int64))
    return chains


def _incised(depth: NDArray[np.float64], cell_m: float, /, *, settings: WaterSettings) -> list[slice]:
    """Runs of a chain whose sides stand high enough, judged over some 20 m, long enough to be drawn."""
    size = max(3, 2 * round(CHANNEL_SMOOTH_M / cell_m / 2) + 1)
    smooth = ndimage.median_filter(np.nan_to_num(depth, nan=0.0), size=size, mode="nearest")
    deep = np.concatenate([[False], smooth >= settings.channel_min_depth_m, [False]])
    starts, stops = np.flatnonzero(deep[1:] & ~deep[:-1]), np.flatnonzero(deep[:-1] & ~deep[1:])
    return [slice(a, b) for a, b in zip(starts.tolist(), stops.tolist(), strict=True) if b - a >= 3]


def _line(
    cells: NDArray[np.int64], bare_earth: Heights, grid: Grid, lattice: Grid, *, tolerance_m: float
) -> LineString:
    """The chain as a smooth line, each vertex first moved to the lowest ground within a coarse cell."""
    east, north = lattice.centres()
    row, col = np.divmod(cells, lattice.cols)
    places = np.column_stack([east[col], north[row]])
    snapped = _lowest_near(places, bare_earth, grid, lattice.cell_m)
    if len(snapped) < 2:
        return LineString()
    line = LineString(rounded(snapped)).simplify(tolerance_m)
    return line if isinstance(line, LineString) else LineString()


def _lowest_near(places: EastNorth, bare_earth: Heights, grid: Grid, reach_m: float) -> EastNorth:
    """The centre of the lowest cell within `reach_m` of each place."""
    n = max(1, round(reach_m / grid.cell_m))
    row, col = grid.row_col(places[:, 0], places[:, 1])
    offsets = np.array([(d, r) for d in range(-n, n + 1) for r in range(-n, n + 1)])
    rows = np.clip(row[:, None] + offsets[:, 0], 0, grid.rows - 1)
    cols = np.clip(col[:, None] + offsets[:, 1], 0, grid.cols - 1)
    heights = np.where(np.isfinite(bare_earth[rows, cols]), bare_earth[rows, cols], np.inf)
    best = np.argmin(heights, axis=1)
    east, north = grid.centres()
    each = np.arange(len(places))
    return np.column_stack([east[cols[each, best]], north[rows[each, best]]])
