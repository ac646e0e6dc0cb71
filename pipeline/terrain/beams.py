"""Where pulses were aimed at: the place on the ground that each would have reached, had nothing stood in its way.

Behind a tall stand, as seen from the aircraft, lies ground without returns: the pulses that were aimed at it ended in
the crowns before it. Water lies in a gap of returns too, but the pulses aimed at it were lost altogether. Counting
returns where they lie cannot tell the two apart; counting pulses where they were aimed at can.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

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
    aside = _tilt(cloud, first, last) * np.maximum(height_above_m[last], 0.0)[:, None]
    far = np.maximum(np.hypot(*aside.T) / MOST_MOVED_M, 1.0)
    east, north = (cloud.en[last] - aside / far[:, None]).T
    return count_in_cells(grid.cell_index(east, north), grid.shape).astype(np.float32)


def _tilt(cloud: Cloud, first: NDArray[np.intp], last: NDArray[np.intp]) -> NDArray[np.float64]:
    """(m, 2) metres to the east and north that the beam of each pulse lies aside, for each metre higher up."""
    fall_m = cloud.height[first] - cloud.height[last]
    aside = cloud.en[first] - cloud.en[last]
    tells = (fall_m >= LEAST_FALL_M) & (cloud.return_number[first] <= 1)
    tells &= (np.hypot(*aside.T) <= MOST_EXTENT_M) & (np.abs(aside) <= MOST_TILT * fall_m[:, None]).all(axis=1)
    places = np.column_stack((cloud.flight_line[last], np.floor(cloud.en[last] / SQUARE_M)))
    _, square = np.unique(places, axis=0, return_inverse=True)
    square = square.ravel()
    number = np.bincount(square[tells], minlength=int(square.max(initial=-1)) + 1)
    ratio = aside[tells] / fall_m[tells, None]
    middle = np.column_stack([_medians(square[tells], ratio[:, axis], number) for axis in (0, 1)])
    return np.where((number >= LEAST_PULSES)[:, None], middle, 0.0)[square]


def _medians(group: NDArray[np.int64], values: NDArray[np.float64], number: NDArray[np.int64]) -> NDArray[np.float64]:
    """Lower median of the values of each group, 0 for groups without any; `number` is how many each has."""
    ordered = np.append(values[np.lexsort((values, group))], 0.0)
    begin = np.cumsum(number) - number
    return np.where(number > 0, ordered[begin + np.maximum(number - 1, 0) // 2], 0.0)
