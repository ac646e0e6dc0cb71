"""What became of the pulses on their way down: counts in each cell of the lattice, for all that vegetation asks.

A return says little by itself: crowns take pulses away from everything below them. A pulse says much: it either
entered a layer or was stopped above it, and if it entered it either met something there or came through. All grids
are plain sums over pulses, so blocks side by side and cells of any size add up exactly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.returns import asprs
from pipeline.returns.cloud import Cloud
from pipeline.terrain.beams import aimed_pulses
from pipeline.terrain.counts import GROWTH_BOTTOM_M

TREE_HEIGHT_M = 3.0
"""A pulse that meets a plant from this height up has met a tree. Lower, tall scrub makes forest of open land; higher,
young forest is drawn as open land (our choice)."""
MAX_SCAN_ANGLE_DEG = 45.0
"""Scan angles larger than this are mistakes of the file, and count as this: airborne scanners look less far aside."""
MAX_RETURNS_ABOVE = 1
"""A pulse with more returns above the running layer has too little energy left to tell what stands in it, and is not
counted as entered. In a survey of conifer forest pulses with one return above met as much in the layer as pulses with
none, with two 2 % less, with three 5 % less (measured)."""

PROFILE_NAMES = (
    "pulses",
    "entered",
    "stopped",
    "entered_low",
    "stopped_low",
    "stopped_visibility",
    "path_sum",
    "tree_pulses",
    "tree_through",
    "clear",
    "reached_ground",
    "growth",
    "growth_height_sum_m",
    "built",
)
"""Names of the grids `profile_grids` returns, in this order, but for AIMED."""
AIMED = "aimed_pulses"
"""Name of the grid of pulses where they were aimed at: `pipeline.terrain.beams.aimed_pulses`."""

# Classes that no plant has, nor has noise (`asprs.NOISE`), which is no return at all. Whatever has another class may
# be a plant.
_BUILT = (
    asprs.BUILDING,
    asprs.RAIL,
    asprs.ROAD,
    asprs.WIRE_GUARD,
    asprs.WIRE,
    asprs.TOWER,
    asprs.WIRE_CONNECTOR,
    asprs.BRIDGE,
    asprs.OVERHEAD_STRUCTURE,
)
"""Buildings, rails, roads, wires and their towers, bridges, overhead structures."""
_FLAT = (asprs.GROUND, asprs.KEY_POINT, asprs.WATER, asprs.IGNORED_GROUND)
"""Ground, key points of the ground, water, ignored ground: where a pulse's way ends."""
_UNKNOWN = (asprs.UNCLASSIFIED,)
"""Unclassified: boulders, cars and returns just above the ground; plants have been given a class of their own."""


@dataclass(frozen=True)
class Pulses:
    """Returns in pulse order.

    Attributes
    ----------
    order : (n,) intp
        Returns sorted so that those of a pulse follow each other from first to last.
    start : (m,) intp
        Position in `order` where each pulse begins.
    last : (m,) intp
        Index (into the cloud) of the lowest known return of each pulse.
    is_whole : (m,) bool
        Whether that is the last return the pulse had. Where a survey has lost its times, pulses cannot be joined:
        then each return stands alone, and only the last ones are whole.
    """

    order: NDArray[np.intp]
    start: NDArray[np.intp]
    last: NDArray[np.intp]
    is_whole: Mask


def join_pulses(cloud: Cloud, /) -> Pulses:
    """The pulses of a cloud: returns that share GPS time, flight line and scanner channel, first to last.

    A new pulse begins where time, flight line or channel change or the return number does not rise, so coarse or
    missing times give many short pulses rather than one huge one. Ties are broken by position.
    """
    n = len(cloud)
    number = cloud.return_number
    if cloud.has_pulses:
        # Channels are numbered 0 to 3.
        beam = (cloud.flight_line.astype(np.uint32) << 2 | cloud.channel).astype(np.uint32)
        order = _by_pulse(cloud.gps_time, beam, number)
        start = np.flatnonzero(_begins(order, cloud.gps_time, beam, number))
    else:
        order, start = np.arange(n), np.arange(n)
    end = np.append(start[1:], n)[: len(start)] - 1
    last = order[end]
    return Pulses(order, start, last, cloud.is_last[last])


MOST_SORTED_ONE_BY_ONE = 32
"""Returns of one time that are sorted one by one; more, where times are coarse, are sorted all together."""


def _by_pulse(time: NDArray[np.float64], beam: NDArray[np.uint32], number: NDArray[np.uint8]) -> NDArray[np.intp]:
    """(n,) the order by GPS time, then flight line and scanner channel, then return number, then position."""
    order = np.argsort(time)
    left = _sort_few(order, time, beam, number)
    if left.any():
        which = np.sort(order[left])
        few = np.lexsort((number[which], beam[which], time[which]))
        order[left] = which[few]
    return order


@compiled
def _sort_few(
    order: NDArray[np.intp], time: NDArray[np.float64], line: NDArray[np.uint32], number: NDArray[np.uint8]
) -> Mask:
    """(n,) bool: stretches of the order left to be sorted; those of few returns of one time are sorted in place."""
    n = len(order)
    left = np.zeros(n, np.bool_)
    begin = 0
    while begin < n:
        now = time[order[begin]]
        end = begin + 1
        while end < n and time[order[end]] == now:
            end += 1
        if end - begin > MOST_SORTED_ONE_BY_ONE:
            left[begin:end] = True
        else:
            for at in range(begin + 1, end):
                moved, to = order[at], at
                while to > begin:
                    other = order[to - 1]
                    if line[moved] != line[other]:
                        is_before = line[moved] < line[other]
                    elif number[moved] != number[other]:
                        is_before = number[moved] < number[other]
                    else:
                        is_before = moved < other
                    if not is_before:
                        break
                    order[to] = other
                    to -= 1
                order[to] = moved
        begin = end
    return left


@compiled
def _begins(
    order: NDArray[np.intp], time: NDArray[np.float64], line: NDArray[np.uint32], number: NDArray[np.uint8]
) -> Mask:
    """(n,) bool: places in the order where a pulse begins."""
    begins = np.ones(len(order), np.bool_)
    for at in range(1, len(order)):
        one, before = order[at], order[at - 1]
        begins[at] = time[one] != time[before] or line[one] != line[before] or number[one] <= number[before]
    return begins


def _can_be_plant(asprs_class: NDArray[np.uint8]) -> Mask:
    """(n,) bool: returns that may come from vegetation."""
    table = np.ones(256, np.bool_)
    table[list(asprs.NOISE + _BUILT + _FLAT + _UNKNOWN)] = False
    return table[asprs_class]


def profile_grids(
    cloud: Cloud,
    asprs_class: NDArray[np.uint8],
    height_above_m: NDArray[np.float32],
    grid: Grid,
    /,
    *,
    running_bottom_m: float,
    visibility_bottom_m: float,
    running_top_m: float,
) -> dict[str, Heights]:
    """Sums over pulses per cell; a pulse belongs to the cell of its lowest return.

    A pulse entered a layer when its last return lies below the layer's top; it was stopped there when any of its
    returns from a plant lies within. This is the count behind MacArthur and Horn (1969). A pulse that gave more than
    MAX_RETURNS_ABOVE returns above the running layer is not counted as entered: it has little energy and few free
    slots of the receiver left, and says little of what stands below.

    Where returns cannot be joined, the last returns are the pulses, and a return in the layer with only one more
    below it is taken for a stopped pulse as well: a range-finder separates echoes by a metre or so, so two of one
    pulse within the layer are rare.

    Parameters
    ----------
    cloud : returns of the grid and a margin around it
        The margin must hold the returns of pulses whose lowest return lies in the grid: tree height times the
        tangent of the scan angle, 20 m at 40 m and 27 degrees.
    asprs_class : (n,) uint8
    height_above_m : (n,) float32, metres above bare earth, NaN for noise
    running_bottom_m, running_top_m : edges of the layer a runner pushes through
    visibility_bottom_m : lower edge of the part of it that hides the view

    Returns
    -------
    One (rows, cols) float32 grid for each of PROFILE_NAMES, and AIMED:
        `pulses` (all), `entered` and `stopped` (running layer), `entered_low` and `stopped_low` (its part below
        visibility_bottom_m), `stopped_visibility` (its part above; a pulse that entered the running layer entered
        it too), `path_sum` (1 / cos of the scan angle, summed over `entered`), `tree_pulses` (met a tree's crown),
        `tree_through` (met a crown and reached the ground all the same), `clear` (met no plant above
        running_bottom_m at all), `reached_ground` (ended on bare earth or water), `growth` (met a plant between
        GROWTH_BOTTOM_M and visibility_bottom_m, and none from there to running_top_m), `growth_height_sum_m` (height
        of the highest such return, summed over `growth`), `built` (ended on a building or another structure),
        `aimed_pulses` (all pulses, but each in the cell of the ground it would have reached without plants in its way).

    Raises
    ------
    ValueError
        If the columns are not as long as the cloud.
    """
    if not len(cloud) == len(asprs_class) == len(height_above_m):
        raise ValueError("classes and heights must have one value for every return")
    counts = np.isin(asprs_class, asprs.NOISE, invert=True) & np.isfinite(height_above_m) & cloud.is_usable
    which = np.flatnonzero(counts)
    if not len(which):
        return {name: np.zeros(grid.shape, np.float32) for name in (*PROFILE_NAMES, AIMED)}
    edges_m = running_bottom_m, visibility_bottom_m, running_top_m
    return _sum_pulses(cloud.take(which), asprs_class[which], height_above_m[which], grid, edges_m)


def _sum_pulses(
    cloud: Cloud,
    asprs_class: NDArray[np.uint8],
    height_m: NDArray[np.float32],
    grid: Grid,
    edges_m: tuple[float, float, float],
) -> dict[str, Heights]:
    """The grids of `profile_grids`, from usable returns only."""
    pulses = join_pulses(cloud)
    last = pulses.last
    cell = grid.cell_index(cloud.east[last], cloud.north[last])
    path = 1 / np.cos(np.radians(np.minimum(np.abs(cloud.scan_angle_deg[last]), MAX_SCAN_ANGLE_DEG)))
    # Cell by cell: the sums that a pulse is added to then lie side by side.
    sums = np.zeros((grid.rows * grid.cols, len(PROFILE_NAMES)))
    _add_pulses(
        sums,
        cell,
        pulses.order,
        pulses.start,
        pulses.is_whole,
        _can_be_plant(asprs_class),
        np.isin(asprs_class, _BUILT),
        np.isin(asprs_class, _FLAT),
        height_m,
        cloud.return_number,
        cloud.n_returns,
        path,
        np.array(edges_m, np.float64),
    )
    totals = np.ascontiguousarray(sums.T, np.float32).reshape(-1, *grid.shape)
    first, whole = pulses.order[pulses.start], pulses.is_whole
    aimed = aimed_pulses(cloud, first[whole], last[whole], height_m, grid)
    return {**dict(zip(PROFILE_NAMES, totals, strict=True)), AIMED: aimed}


@compiled
def _add_pulses(
    sums: NDArray[np.float64],
    cells: NDArray[np.int64],
    order: NDArray[np.intp],
    start: NDArray[np.intp],
    is_whole: Mask,
    is_plant: Mask,
    is_built: Mask,
    is_flat: Mask,
    height_m: NDArray[np.float32],
    number: NDArray[np.uint8],
    n_returns: NDArray[np.uint8],
    path: NDArray[np.floating],
    edges_m: NDArray[np.float64],
) -> None:
    """Add every pulse to the sums, (cells, names), of the cell of its lowest return; those outside are left out.

    `cells` and `path` are of the pulses, what else there is of the returns.
    """
    bottom, middle, top = edges_m
    for pulse in range(len(start)):
        cell = cells[pulse]
        if cell < 0:
            continue
        begin = start[pulse]
        end = start[pulse + 1] if pulse + 1 < len(start) else len(order)
        last, whole = order[end - 1], is_whole[pulse]
        above, highest_low, highest_plant = 0, -1.0, -np.inf
        in_low = in_view = False
        for at in range(begin, end):
            one = order[at]
            height = float(height_m[one])
            above += height >= top
            if is_plant[one]:
                highest_plant = max(highest_plant, height)
                in_low |= bottom <= height < middle
                in_view |= middle <= height < top
                if height < top:
                    highest_low = max(highest_low, height)
        built, is_low = is_built[last], height_m[last] < top
        entered = whole and is_low and not built and above <= MAX_RETURNS_ABOVE
        # A pulse without its last return still tells that it was stopped, where just one more return was to come.
        tells = entered or (not whole and number[last] + 1 == n_returns[last] and is_low)
        growth = entered and GROWTH_BOTTOM_M <= highest_low < middle
        # Where pulses cannot be joined, the first return tells what a pulse met on top.
        begun = number[order[begin]] <= 1
        tree = begun and highest_plant >= TREE_HEIGHT_M
        reached_ground = whole and is_flat[last]
        sums[cell, 0] += whole
        sums[cell, 1] += entered
        sums[cell, 2] += tells and (in_low or in_view)
        sums[cell, 3] += entered and height_m[last] < middle
        sums[cell, 4] += tells and in_low
        sums[cell, 5] += tells and in_view
        sums[cell, 6] += path[pulse] if entered else 0.0
        sums[cell, 7] += tree
        sums[cell, 8] += tree and reached_ground
        sums[cell, 9] += begun and not built and not highest_plant >= bottom
        sums[cell, 10] += reached_ground
        sums[cell, 11] += growth
        sums[cell, 12] += highest_low if growth else 0.0
        sums[cell, 13] += whole and built
