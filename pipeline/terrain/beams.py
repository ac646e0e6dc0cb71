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
LEAST_PULSES = 50
"""Pulses that must tell the direction of a flight line's beams, or its returns stay where they are: a line that few
pulses passed through crowns from has no shadows of crowns either. Our choice."""
MOST_TILT = 1.0
"""Metres aside for each metre down, at most: 45 degrees, more than airborne scanners look aside. Steeper ones are
returns joined by mistake."""


def aimed_pulses(
    cloud: Cloud, first: NDArray[np.intp], last: NDArray[np.intp], height_above_m: NDArray[np.float32], grid: Grid, /
) -> Heights:
    """Pulses in the cell of the ground that each was aimed at, (rows, cols) float32.

    The last return of a pulse is moved down its beam by its height above the ground. The direction of the beams of a
    flight line is found from its pulses of several returns, as it changes linearly over a block of some 250 m. Where
    returns cannot be joined to pulses nothing tells it, and each pulse counts where its last return lies. The ground is
    taken as level from the return to where the beam meets it: at a slope of 1 in 2 and 20 degrees aside that is wrong
    by a fifth of the way, 2 m behind a tree of 25 m.

    Parameters
    ----------
    cloud : returns of the grid and a margin around it, as wide as tall trees throw shadows
    first, last : (m,) index into the cloud of the first and the last return of each pulse
    height_above_m : (n,) metres above the bare earth, of the cloud's returns
    """
    east, north = cloud.east[last], cloud.north[last]
    line = cloud.flight_line[last]
    above_m = np.maximum(height_above_m[last], 0.0)
    for number in np.unique(line):
        mine = np.flatnonzero(line == number)
        aside = _tilt(cloud, first[mine], last[mine]) * above_m[mine, None]
        east[mine] -= aside[:, 0]
        north[mine] -= aside[:, 1]
    return count_in_cells(grid.cell_index(east, north), grid.shape).astype(np.float32)


def _tilt(cloud: Cloud, first: NDArray[np.intp], last: NDArray[np.intp]) -> NDArray[np.float64]:
    """(m, 2) metres to the east and north that the beams of one line lie aside, for each metre higher up.

    A plane through the directions of all pulses of several returns, by least squares.
    """
    fall_m = cloud.height[first] - cloud.height[last]
    aside = np.column_stack((cloud.east[first] - cloud.east[last], cloud.north[first] - cloud.north[last]))
    tells = np.flatnonzero((fall_m >= LEAST_FALL_M) & (np.abs(aside) <= MOST_TILT * fall_m[:, None]).all(axis=1))
    if len(tells) < LEAST_PULSES:
        return np.zeros((len(last), 2))
    middle = cloud.en[last[tells]].mean(axis=0)
    place = np.column_stack((np.ones(len(last)), cloud.en[last] - middle))
    plane, *_ = np.linalg.lstsq(place[tells], aside[tells] / fall_m[tells, None], rcond=None)
    tilt: NDArray[np.float64] = np.clip(place @ plane, -MOST_TILT, MOST_TILT)
    return tilt
