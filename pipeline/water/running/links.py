"""Beds that go on over a rise: two courses that run off to its two sides, drawn from the same place on its top."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components
from shapely.geometry import LineString
from skimage.graph import MCP_Geometric

from pipeline.remembered import Remembered, nothing_remembered
from pipeline.water.running.flow import Flow
from pipeline.water.sight.marks import mark_of

Chain = NDArray[np.int64]
"""Cells of a course, downstream."""
LINK_M = 60.0
"""Distance in metres from the head of a course within which the next course is looked for: as far as a course goes on
where nothing is seen of its bed (`courses.BRIDGE_M`). Our choice."""
LINK_MAX_RISE_M = 0.5
"""Height in metres by which a link may rise on its way down from its top: the noise of the bare earth. Our choice."""
SHALLOW_M = 0.1
"""Depth in metres that is added to that of a cell, so that a link leads straight on over a cell without a bed instead
of far around it. Our choice."""


TOUCH_M = 4.0
"""Distance in metres between two courses up to which they touch: two cells of the lattice that water is led over, as
each vertex is moved to the lowest ground beside it. Shorter ones are no lines. Our choice."""


class Link(NamedTuple):
    """Cells from the head of one course to another course.

    Attributes
    ----------
    head : number of the course that it begins at the head of
    other : number of the course that it leads to
    cells : (n,) int64, from that head on; the last one is of the other course
    """

    head: int
    other: int
    cells: Chain


def linked(
    chains: Sequence[Chain],
    traces: Sequence[Chain],
    flow: Flow,
    has_bed: NDArray[np.bool_],
    shows_bed: Callable[[list[Chain]], list[bool]],
    /,
    *,
    remembered: Remembered = nothing_remembered,
) -> tuple[list[Chain], NDArray[np.bool_]]:
    """The courses, and traces of beds, with the beds that join them over rises; and which of them are traces.

    Over a rise no water gathers, so that a ditch that was dug through it, or a bed whose floor is uneven, falls apart
    into courses that begin a little way from each other. What joins them is drawn only where a bed is seen along it,
    and each half of it runs down from its top.

    Parameters
    ----------
    traces : cells of beds too short for a course to begin there
    has_bed : (n,) bool, cells in which a bed is cut in
    shows_bed : whether a bed is seen along each of some chains of cells
    remembered : where the cheapest ways of an earlier run are found
    """
    courses, done = [*chains, *traces], set[int]()
    with_bed = [number for number, chain in enumerate(courses) if number >= len(chains) or has_bed[chain[0]]]
    found = [link for link in _links(courses, flow, with_bed, remembered) if _runs_down(link.cells, flow)]
    seen = shows_bed([link.cells for link in found]) if found else []
    is_trace = [False] * len(chains) + [True] * len(traces)
    for link, is_seen in zip(found, seen, strict=True):
        if not is_seen or link.head in done:
            continue
        top = int(np.argmax(flow.heights[link.cells]))
        courses[link.head] = np.concatenate([link.cells[top:0:-1], courses[link.head]])
        done.add(link.head)
        if link.cells[-1] == courses[link.other][0]:
            courses[link.other] = np.concatenate([link.cells[top:-1], courses[link.other]])
            done.add(link.other)
        elif top < len(link.cells) - 1:
            courses.append(link.cells[top:])
            is_trace.append(True)
    return courses, np.array(is_trace, np.bool_)


def _links(chains: Sequence[Chain], flow: Flow, heads: Sequence[int], remembered: Remembered) -> list[Link]:
    """From the heads of some courses the way to another course that keeps most to what is cut in, shortest first."""
    rows, cols = flow.lattice.shape
    owner = np.full(rows * cols, -1, np.int64)
    for number, chain in enumerate(chains):
        owner[chain] = number
    cost = 1 / (np.clip(np.nan_to_num(flow.depth), 0, None) + SHALLOW_M)
    reach = round(LINK_M / flow.lattice.cell_m)

    def around(number: int) -> _Around:
        row, col = divmod(int(chains[number][0]), cols)
        top, left = max(0, row - reach), max(0, col - reach)
        window = np.s_[top : row + reach + 1, left : col + reach + 1]
        of = owner.reshape(rows, cols)[window]
        ground = np.where(of == number, -1, cost.reshape(rows, cols)[window])
        ground[row - top, col - left] = 1.0
        return _Around((top, left), ground, (row - top, col - left), (of >= 0) & (of != number))

    # Windows are cut anew where a way is to be found: all of them at once would take much memory.
    near = [(number, here.corner, here.mark) for number in heads if (here := around(number)).goals.any()]
    ways = remembered(
        "cheapest way to another course",
        [mark for _, _, mark in near],
        lambda numbers: [_cheapest(around(near[each][0])).tobytes() for each in numbers],
    )
    found = []
    for (number, corner, _), way in zip(near, ways, strict=True):
        row, col = (np.frombuffer(way, np.int64).reshape(-1, 2) + corner).T
        cells = row * cols + col
        if len(cells) > 1:
            found.append(Link(number, int(owner[cells[-1]]), cells))
    return sorted(found, key=lambda link: (len(link.cells), link.head))


class _Around(NamedTuple):
    """The ground around the head of a course.

    Attributes
    ----------
    corner : row and column of the north-west corner in the lattice
    cost : (rows, cols) what a step over each cell costs; negative is no way
    start : row and column of the head, from that corner
    goals : (rows, cols) bool, cells of other courses
    """

    corner: tuple[int, int]
    cost: NDArray[np.float64]
    start: tuple[int, int]
    goals: NDArray[np.bool_]

    @property
    def mark(self) -> bytes:
        """A mark of all that decides about the cheapest way, counted from the corner."""
        numbers = np.array([*self.start, *self.cost.shape], np.int64)
        return mark_of([numbers, self.cost, self.goals])


def _cheapest(here: _Around) -> NDArray[np.int64]:
    """(n, 2) the cheapest way from a head to any of the goals, as rows and columns; empty where there is none."""
    paths = MCP_Geometric(here.cost)
    spent, _ = paths.find_costs([here.start])
    spent = np.where(here.goals, spent, np.inf)
    goal = np.unravel_index(int(np.argmin(spent)), spent.shape)
    if not np.isfinite(spent[goal]):
        return np.empty((0, 2), np.int64)
    return np.array(paths.traceback(goal), np.int64)


def _runs_down(cells: Chain, flow: Flow) -> bool:
    """Whether both halves of a link fall from its top on, but for noise."""
    heights = flow.heights[cells]
    top = int(np.argmax(heights))
    halves = (heights[top::-1], heights[top:])
    return all(bool((half - np.minimum.accumulate(half)).max() <= LINK_MAX_RISE_M) for half in halves)


def long_enough(
    chains: Sequence[Chain], lines: Sequence[LineString], is_trace: NDArray[np.bool_], least_m: float, /
) -> list[tuple[Chain, LineString]]:
    """The courses that are together as long as the norm asks for with those that they touch, not all of them traces.

    Each alone may be shorter: the pieces of one ditch that run off to different sides are one blue line on the map.
    """
    is_line = shapely.length(list(lines)) >= TOUCH_M
    known = [(chain, line) for chain, line, is_one in zip(chains, lines, is_line, strict=True) if is_one]
    if not known:
        return []
    drawn = [line for _, line in known]
    first, second = shapely.STRtree(drawn).query(drawn, predicate="dwithin", distance=TOUCH_M)
    pairs = csr_array((np.ones(len(first)), (first, second)), shape=(len(drawn), len(drawn)))
    _, group = connected_components(pairs, directed=False)
    length_m = np.bincount(group, weights=shapely.length(drawn))
    is_drawn = (length_m >= least_m) & (np.bincount(group, weights=~is_trace[is_line]) > 0)
    return [course for course, number in zip(known, group, strict=True) if is_drawn[number]]
