"""Ground made for travel, told by its cross-profile: a floor that is flatter across than the ground on both sides."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Heights
from pipeline.manmade.tracks.strips import along_mean, unit_along

ALONG_M = 10.0
"""Length of ground along which a cross-profile is the mean of. Shorter, the roughness of the ground makes false
courses; longer, bends are blurred: on a bend of 15 m radius the ends lie 0.8 m aside (our choice)."""
WIDTHS_M = {
    "trodden": ((0.5, 1.25), (0.75, 1.75), (1.0, 2.25)),
    "driven": ((1.5, 3.0), (2.0, 4.0), (3.0, 5.5), (5.0, 8.0)),
}
"""Half the width of the floor, and the distance from its middle up to which the ground beside it is measured: of what
is trodden, from 1 m wide, and of what is driven on, up to a road with a verge (our choice)."""
REACH_M = ALONG_M / 2 + WIDTHS_M["driven"][-1][1] + 2.0
"""How far from a cell heights lie that decide about it."""


def floor_contrast(heights: Heights, number: int, /, *, made: str, cell_m: float) -> Heights:
    """(rows, cols) float32, how much steeper across a direction the ground beside a floor is than the floor itself.

    Heights are first averaged along the direction (`ALONG_M`). Then for each width the slope across is measured
    beside the floor, left and right, and in the left and the right half of the floor. The contrast is the gentler of
    the two sides minus the steeper of the two halves, in metres per metre: a bench in a slope, a cutting, a sunken lane
    and an embankment all have it; an even slope has none, nor has a bed in the shape of a V, whose halves are as steep
    as its sides, nor an edge, which has one side only. The best of the widths counts, of those that the cells are
    fine enough for; where they are for none, nothing is found. Negative values are 0.

    Parameters
    ----------
    heights : bare earth, no NaN
    number : direction along the course, see `unit_along`
    made : key of WIDTHS_M
    """
    mean = along_mean(heights, number, length_m=ALONG_M, cell_m=cell_m)
    east, north = unit_along(number)
    pairs = np.array([pair for pair in WIDTHS_M[made] if pair[0] >= 0.75 * cell_m], np.float64) / cell_m
    if not len(pairs):
        return np.zeros(mean.shape, np.float32)
    rim = int(np.ceil(pairs[-1, 1])) + 1
    # To the left of the direction: its east and north turned by a quarter.
    return _contrast(np.pad(mean, rim, mode="edge"), pairs, -east, -north, rim, cell_m)


@compiled
def _contrast(wide: Heights, pairs: NDArray[np.float64], down: float, right: float, rim: int, cell_m: float) -> Heights:
    """The best contrast of the pairs of distances; `down` and `right` are a step of one cell to the left."""
    rows, cols = wide.shape[0] - 2 * rim, wide.shape[1] - 2 * rim
    best = np.zeros((rows, cols), np.float32)
    line = np.empty((4, cols), np.float32)
    for row in range(rows):
        middle = wide[row + rim, rim : rim + cols]
        for k in range(len(pairs)):
            inner, outer = pairs[k]
            for j in range(4):
                away = (inner, outer, -inner, -outer)[j]
                r, c = down * away, right * away
                r0, c0 = int(np.floor(r)), int(np.floor(c))
                up, over = np.float32(r - r0), np.float32(c - c0)
                one = wide[row + rim + r0]
                two = wide[row + rim + r0 + 1]
                start = rim + c0
                for col in range(cols):
                    a = one[start + col] * (1 - over) + one[start + col + 1] * over
                    b = two[start + col] * (1 - over) + two[start + col + 1] * over
                    line[j, col] = a * (1 - up) + b * up
            inside = np.float32(1 / (inner * cell_m))
            beside = np.float32(1 / ((outer - inner) * cell_m))
            for col in range(cols):
                halves = max(abs(line[0, col] - middle[col]), abs(line[2, col] - middle[col])) * inside
                sides = min(abs(line[1, col] - line[0, col]), abs(line[3, col] - line[2, col])) * beside
                best[row, col] = max(best[row, col], sides - halves)
    return best
