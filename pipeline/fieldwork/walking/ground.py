"""Ground as a net of places and minutes between them: how a mapper walks it, and what stops them.

Squares of ground are joined with their eight neighbours. A step takes the time that its slope, the growth and a road
make of it; a step that would cross a cliff, water or a wall that cannot be passed is not there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize
from scipy import ndimage, sparse
from scipy.sparse import csgraph
from scipy.spatial import KDTree
from shapely.geometry.base import BaseGeometry

from pipeline.fieldwork.walking.quickest import Search
from pipeline.lattice.grid import EastNorth, Grid, Heights, Mask

TOBLER_KM_PER_H, TOBLER_BEND, TOBLER_EASIEST = 6.0, 3.5, 0.05
"""Tobler 1993 (Three presentations on geographical analysis and modeling, NCGIA 93-1): on a path one walks
6 exp(-3.5 |rise/run + 0.05|) km/h."""
OFF_PATH = 0.6
"""Share of that speed off paths (Tobler 1993)."""
LEAST_GROWTH = 0.2
"""Least share of walking speed that growth leaves: who walks pushes through what nobody runs (our choice)."""
UNKNOWN_SHARE = 0.5
"""Share of free running taken where the survey did not see the undergrowth (our choice)."""
STEEPEST = 1.0
"""Rise over run beyond which nobody walks: 45 degrees (our choice)."""
NEAREST = 40
"""Stops to which the quickest ways are searched from each: twice as many as an outing has (our choice)."""
STEPS = ((0, 1), (1, 0), (1, 1), (1, -1))
"""Neighbours, in rows and columns, to which steps are counted; the way back is counted with each."""


@dataclass(frozen=True)
class Ground:
    """What the ground is like, square by square.

    Attributes
    ----------
    height_m : (rows, cols), NaN where unknown: nobody walks there
    share : (rows, cols) share of free running speed, NaN where not seen
    is_way : (rows, cols) bool, where a road or path runs
    grid : Grid
    """

    height_m: Heights
    share: Heights
    is_way: Mask
    grid: Grid

    @property
    def side_m(self) -> float:
        """Side of a square."""
        return self.grid.cell_m

    @cached_property
    def centres(self) -> EastNorth:
        """(rows * cols, 2) middles of the squares."""
        east, north = np.meshgrid(*self.grid.centres())
        return np.column_stack([east.ravel(), north.ravel()])


def growth_share(share: Heights, /) -> Heights:
    """Share of walking speed off paths that growth leaves, by the share of running speed that it leaves.

    It is the square root, as growth slows a walker less than a runner: 0.63 where the norm says walk, 0.3 in fight,
    which is about the least that walkers kept in shrub (35 %, Campbell, Dennison and Butler 2017). Our choice.
    """
    known = np.where(np.isfinite(share), share, UNKNOWN_SHARE)
    return np.maximum(np.sqrt(known), LEAST_GROWTH).astype(np.float32)


def minutes_per_m(rise: NDArray[np.float64], /, *, on_way: Mask, share: Heights) -> NDArray[np.float64]:
    """Minutes that a metre takes at a rise over run, on a way or through growth; infinite where too steep."""
    growth = growth_share(share) * OFF_PATH
    tobler = TOBLER_KM_PER_H * np.exp(-TOBLER_BEND * np.abs(rise + TOBLER_EASIEST))
    m_per_minute = tobler * np.where(on_way, 1.0, growth) * 1000 / 60
    return np.where(np.abs(rise) <= STEEPEST, 1 / m_per_minute, np.inf)


@dataclass(frozen=True)
class Net:
    """Squares that can be walked, and minutes of the steps between them.

    Attributes
    ----------
    ground : Ground
    steps : (n, n) sparse, minutes of a step from one square to another
    """

    ground: Ground
    steps: sparse.csr_matrix

    @cached_property
    def parts(self) -> NDArray[np.int64]:
        """Which connected part of the ground each square belongs to."""
        return np.asarray(csgraph.connected_components(self.steps, directed=False)[1], np.int64)

    @cached_property
    def main_part(self) -> Mask:
        """Squares of the largest part: where a mapper can come to."""
        return np.asarray(self.parts == np.bincount(self.parts).argmax())

    @cached_property
    def usual_minutes_per_m(self) -> NDArray[np.float64]:
        """(n,) minutes that a metre takes from each square on the mean over its steps; 0 where no step leads away."""
        count = np.diff(self.steps.indptr)
        total = np.asarray(self.steps.sum(axis=1)).ravel()
        # Of eight neighbours four lie a side away and four a diagonal.
        return np.asarray(total / np.maximum(count, 1) / (self.ground.side_m * (1 + np.sqrt(2)) / 2))

    def squares_at(self, places: EastNorth, /) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """The nearest square of the main part to each place, and how far it lies, in metres."""
        reachable = np.flatnonzero(self.main_part)
        far, nearest = KDTree(self.ground.centres[reachable]).query(places)
        return np.asarray(reachable[nearest], np.int64), np.asarray(far, np.float64)

    def minutes(self, start: NDArray[np.int64], end: NDArray[np.int64], /) -> NDArray[np.float64]:
        """(starts, ends) minutes of the quickest ways between squares; infinite where none leads."""
        is_end = np.zeros(self.ground.height_m.size, bool)
        is_end[end] = True
        minutes = np.empty((len(start), len(end)))
        for row, square in enumerate(start.tolist()):
            self._search.run(square, is_end)
            minutes[row] = self._search.reached[end]
        return minutes

    def minutes_of_rounds(self, start: int, stops: NDArray[np.int64], /) -> NDArray[np.float64]:
        """(n + 1, n + 1) minutes from each to each of the start and n stops; infinite where no way leads.

        From and to the start, and from each stop to the NEAREST others, the ways are the quickest; farther stops are
        reached by way of those. A round from stop to stop has hardly any long leg between them, and searching all of
        these takes five times as long.
        """
        squares = np.concatenate([[start], stops])
        minutes = np.zeros((len(squares),) * 2)
        minutes[1:, 1:] = self._among(stops)
        minutes[0] = self.minutes(squares[:1], squares)[0]
        # Against the steps: the ways from the start then are those that lead to it.
        minutes[:, 0] = Net(self.ground, self.steps.T.tocsr()).minutes(squares[:1], squares)[0]
        return _by_way_of_others(minutes)

    def _among(self, stops: NDArray[np.int64]) -> NDArray[np.float64]:
        """(n, n) minutes from each stop to each, farther ones by way of the NEAREST."""
        is_end = np.zeros(self.ground.height_m.size, bool)
        is_end[stops] = True
        n_near = min(NEAREST, len(stops))
        while True:
            minutes = np.empty((len(stops),) * 2)
            for row, square in enumerate(stops.tolist()):
                # To stops that the search has not come to it knows some way, which need not be the quickest.
                self._search.run(square, is_end, enough=n_near)
                minutes[row] = self._search.reached[stops]
            minutes = _by_way_of_others(minutes)
            if n_near >= len(stops) or np.isfinite(minutes).all():
                return minutes
            # Stops lie in clusters far from each other: each has its nearest in its own.
            n_near = min(4 * n_near, len(stops))

    def way(self, start: int, end: int, /) -> EastNorth:
        """(n, 2) middles of the squares of the quickest way between two squares; both ends where none leads."""
        return self.ground.centres[self._search.way(start, end)]

    @cached_property
    def _search(self) -> Search:
        return Search(self.steps)


def _by_way_of_others(minutes: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, n) minutes between places where one may go by way of any others (Floyd 1962, Warshall 1962)."""
    shortest = minutes.copy()
    for via in range(len(minutes)):
        np.minimum(shortest, shortest[:, via, None] + shortest[via], out=shortest)
    return shortest


def net_of(ground: Ground, barriers: Iterable[BaseGeometry], /, *, water: Iterable[BaseGeometry] = ()) -> Net:
    """The net of a ground.

    Parameters
    ----------
    barriers : lines that cannot be crossed and areas that cannot be entered
    water : areas of water; where a road is drawn across one there is a bridge or a ford
    """
    parts = list(_steps(ground, *(_shapes_on(ground.grid, shapes) for shapes in (barriers, water))))
    start, end, minutes = (np.concatenate([part[number] for part in parts]) for number in range(3))
    n = ground.height_m.size
    return Net(ground, sparse.csr_matrix((minutes, (start, end)), shape=(n, n)))


Steps = tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]


def _steps(ground: Ground, barriers: _Shapes, water: _Shapes) -> Iterator[Steps]:
    """Start, end and minutes of all steps that can be walked, there and back."""
    rows, cols = ground.height_m.shape
    number = np.arange(rows * cols).reshape(rows, cols)
    for down, right in STEPS:
        here = slice(0, rows - down), slice(max(0, -right), cols - max(0, right))
        there = slice(down, rows), slice(max(0, right), cols - max(0, -right))
        start, end = number[here].ravel(), number[there].ravel()
        known = np.isfinite(ground.height_m.ravel()[start]) & np.isfinite(ground.height_m.ravel()[end])
        start, end = start[known], end[known]
        on_way = ground.is_way.ravel()[start] & ground.is_way.ravel()[end]
        free = ~_crossed(ground, start, end, barriers) & (on_way | ~_crossed(ground, start, end, water))
        start, end = start[free], end[free]
        yield from _both_ways(ground, start, end)


@dataclass(frozen=True)
class _Shapes:
    """Shapes that stop a walker: searched by place, and (squares,) bool, which squares they come near to."""

    tree: shapely.STRtree
    near: Mask


def _shapes_on(grid: Grid, shapes: Iterable[BaseGeometry]) -> _Shapes:
    some = [shape for shape in shapes if not shape.is_empty]
    touched = np.zeros(grid.shape, np.uint8)
    if some:
        rasterize(some, out=touched, transform=grid.transform, all_touched=True)
    # One square further, for what runs along the edge of a square.
    return _Shapes(shapely.STRtree(some), ndimage.binary_dilation(touched, np.ones((3, 3), bool)).ravel())


def _crossed(ground: Ground, start: NDArray[np.int64], end: NDArray[np.int64], shapes: _Shapes) -> Mask:
    """Which straight steps from square to square touch a shape."""
    crossed = np.zeros(len(start), bool)
    asked = np.flatnonzero(shapes.near[start] | shapes.near[end])
    if len(asked):
        segments = shapely.linestrings(np.stack([ground.centres[start[asked]], ground.centres[end[asked]]], axis=1))
        crossed[asked[np.unique(shapes.tree.query(segments, predicate="intersects")[0])]] = True
    return crossed


def _both_ways(ground: Ground, start: NDArray[np.int64], end: NDArray[np.int64]) -> Iterator[Steps]:
    height, share, is_way = ground.height_m.ravel(), ground.share.ravel(), ground.is_way.ravel()
    length = np.hypot(*(ground.centres[end] - ground.centres[start]).T)
    rise = (height[end] - height[start]).astype(np.float64) / length
    on_way = is_way[start] & is_way[end]
    for first, last, slope in ((start, end, rise), (end, start, -rise)):
        # Half of a step lies in each of its two squares.
        per_m = [minutes_per_m(slope, on_way=on_way, share=share[half]) for half in (first, last)]
        minutes = length * (per_m[0] + per_m[1]) / 2
        walked = np.isfinite(minutes)
        yield first[walked], last[walked], minutes[walked]
