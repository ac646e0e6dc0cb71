"""Where pulses were aimed at: the place on the ground that each would have reached, had nothing stood in its way.

Behind a tall stand, as seen from the aircraft, lies ground without returns: the pulses that were aimed at it ended in
the crowns before it. Water lies in a gap of returns too, but the pulses aimed at it were lost altogether. Counting
returns where they lie cannot tell the two apart; counting pulses where they were aimed at can.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.per_cell import count_in_cells
from pipeline.returns.cloud import Cloud

LEAST_FALL_M = 2.0
"""Metres between the first and the last return of a pulse from which they tell its direction: with an error of some
0.1 m in plan it is then good to 1 in 20, and the many pulses of a line even that out. Our choice."""
MOST_TILT = 1.0
"""Metres aside for each metre down, at most: 45 degrees, more than airborne scanners look aside. Steeper ones are
returns joined by mistake."""
SQUARE_M = 10.0
"""Side, in metres, of the squares of a fixed lattice within which the beams of a flight line are taken as parallel:
over 10 m their direction changes by 1 in 70 from an aircraft 700 m up. Our choice."""
MOST_EXTENT_M = 5.0
"""Distance in plan, in metres, between the first and the last return of the pulses that tell a direction. What lies in
the square, and so far around it, decides: longer pulses would be cut short at the rim of a block. Our choice."""
MOST_MOVED_M = 15.0
"""Most that a return is moved down its beam in plan, in metres: a tree of 40 m seen 20 degrees aside. With the square
and the pulses in it that makes 30 m, which is what a block sees around itself. Our choice."""
LEAST_PULSES = 5
"""Pulses that must tell the direction of a line's beams in a square, or its returns there stay where they are. Their
median is good to a hundredth. Our choice."""


def aimed_pulses(
    cloud: Cloud, first: NDArray[np.intp], last: NDArray[np.intp], height_above_m: NDArray[np.float32], grid: Grid, /
) -> Heights:
    """Pulses in the cell of the ground that each was aimed at, (rows, cols) float32.

    The last return of a pulse is moved down its beam by its height above the ground. The direction of the beams of a
    flight line in a place is the median of those pulses nearby that had several returns. Where returns cannot be joined
    to pulses nothing tells it, and each pulse counts where its last return lies. The ground is taken as level from the
    return to where the beam meets it: at a slope of 1 in 2 and 20 degrees aside that is wrong by a fifth of the way,
    2 m behind a tree of 25 m.

    Parameters
    ----------
    cloud : returns of the grid and of 30 m around it
    first, last : (m,) index into the cloud of the first and the last return of each pulse
    height_above_m : (n,) metres above the bare earth, of the cloud's returns
    """
    square = _squares(cloud.flight_line[last], cloud.east[last], cloud.north[last])
    tilt = _tilt(cloud, first, last, square)
    east, north = _moved(cloud.east, cloud.north, height_above_m, last, square, tilt)
    return count_in_cells(grid.cell_index(east, north), grid.shape).astype(np.float32)


def _tilt(
    cloud: Cloud, first: NDArray[np.intp], last: NDArray[np.intp], square: NDArray[np.int64]
) -> NDArray[np.float64]:
    """(squares, 2) metres to the east and north that beams lie aside for each metre higher up; 0 where none tells it.

    `square` is the number of the square of each pulse.
    """
    tells, to_east, to_north = _telling(cloud.east, cloud.north, cloud.height, cloud.return_number, first, last)
    own = square[tells]
    number = np.bincount(own, minlength=int(square.max(initial=-1)) + 1)
    middle = np.column_stack([_medians(own, ratio, number) for ratio in (to_east, to_north)])
    return np.where((number >= LEAST_PULSES)[:, None], middle, 0.0)


@compiled
def _telling(
    east: NDArray[np.float64],
    north: NDArray[np.float64],
    height: NDArray[np.float64],
    return_number: NDArray[np.uint8],
    first: NDArray[np.intp],
    last: NDArray[np.intp],
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    """(k,) numbers of the pulses that tell their direction, and how far aside they lie for each metre higher up."""
    tells, to_east, to_north = np.empty(len(last), np.int64), np.empty(len(last)), np.empty(len(last))
    k = 0
    for i in range(len(last)):
        fall_m = height[first[i]] - height[last[i]]
        if fall_m >= LEAST_FALL_M and return_number[first[i]] <= 1:
            e, n = east[first[i]] - east[last[i]], north[first[i]] - north[last[i]]
            if np.hypot(e, n) <= MOST_EXTENT_M and max(abs(e), abs(n)) <= MOST_TILT * fall_m:
                tells[k], to_east[k], to_north[k] = i, e / fall_m, n / fall_m
                k += 1
    return tells[:k].copy(), to_east[:k].copy(), to_north[:k].copy()


@compiled
def _moved(
    east: NDArray[np.float64],
    north: NDArray[np.float64],
    height_above_m: NDArray[np.float32],
    last: NDArray[np.intp],
    square: NDArray[np.int64],
    tilt: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(m,) east and (m,) north of the last return of each pulse, moved down its beam to the ground."""
    to_east, to_north = np.empty(len(last)), np.empty(len(last))
    for i in range(len(last)):
        above_m = max(np.float64(height_above_m[last[i]]), 0.0)
        e, n = tilt[square[i], 0] * above_m, tilt[square[i], 1] * above_m
        far = max(np.hypot(e, n) / MOST_MOVED_M, 1.0)
        to_east[i], to_north[i] = east[last[i]] - e / far, north[last[i]] - n / far
    return to_east, to_north


def _squares(line: NDArray[np.uint16], east: NDArray[np.float64], north: NDArray[np.float64]) -> NDArray[np.int64]:
    """(m,) number of the square of each pulse, those of each flight line by themselves; not every number is used."""
    col, row = (np.floor(places / SQUARE_M).astype(np.int64) for places in (east, north))
    if len(line):
        col, row = col - col.min(), row - row.min()
    # Lines are numbered by the thousand, but few of them fly over one block.
    of_line = np.cumsum(np.bincount(line, minlength=1) > 0) - 1
    rows, cols = (int(axis.max(initial=0)) + 1 for axis in (row, col))
    return np.asarray((of_line[line] * rows + row) * cols + col, np.int64)


def _medians(group: NDArray[np.int64], values: NDArray[np.float64], number: NDArray[np.int64]) -> NDArray[np.float64]:
    """Lower median of the values of each group, 0 for groups without any; `number` is how many each has."""
    return _middles(group, values, number)


@compiled
def _middles(group: NDArray[np.int64], values: NDArray[np.float64], number: NDArray[np.int64]) -> NDArray[np.float64]:
    """As `_medians`: the values are laid out group by group, and each group is sorted by itself."""
    end = np.cumsum(number)
    free, ordered = end - number, np.empty(len(values))
    for i in range(len(values)):
        ordered[free[group[i]]] = values[i]
        free[group[i]] += 1
    middle = np.zeros(len(number))
    for of in range(len(number)):
        if number[of] > 0:
            own = ordered[end[of] - number[of] : end[of]]
            own.sort()
            middle[of] = own[(number[of] - 1) // 2]
    return middle
