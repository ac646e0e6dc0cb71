"""Smooth curves followed through the evidence: how well the best of them through each cell is supported."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.filters.box import square_mean
from pipeline.lattice.grid import Grid, Heights
from pipeline.manmade.tracks.evidence import STEPS, Strength
from pipeline.manmade.tracks.strips import DIRECTIONS, unit_along
from pipeline.outlines.squares import squares_over

STEP_M = 4.0
"""Length of a step along a curve. From one step to the next it turns by one direction at most, which is a bend of 20 m
radius (our choice)."""
STEPS_EACH_WAY = 9
"""Steps followed from a cell each way: 72 m in all (fitted on `scene_a`, a block of real relief and a boreal km2: with
48 m more noise stands out, with 96 m roads in relief are cut off at their bends)."""
TURN_COST = 0.06
"""Strength that a turn by one direction costs (fitted on the same)."""
REACH_M = STEP_M * STEPS_EACH_WAY + STEP_M
"""How far from a cell the evidence lies that decides about it."""


def follow(strength: Strength, grid: Grid, /) -> tuple[Heights, NDArray[np.int8]]:
    """Mean strength along the best smooth curve through each cell, and the curve's direction there.

    The best curve is found by dynamic programming over cells and headings: the best curve that comes to a cell with a
    heading is the best of those that come to the cell one step behind it with nearly that heading, and one step more.

    Parameters
    ----------
    strength : (DIRECTIONS, rows, cols) uint8, in STEPS parts of one, see `Evidence`

    Returns
    -------
    (rows, cols) float32 strength in whole ones; (rows, cols) int8, see `unit_along`
    """
    wide = grid.pad(REACH_M)
    rim = round((wide.rows - grid.rows) / 2)
    # What the rim of the survey shows is taken to go on, or courses would fade out before they leave it.
    planes = [np.pad(plane.astype(np.float32) / np.float32(STEPS), rim, mode="edge") for plane in strength]
    mean = np.zeros(wide.shape, np.float32)
    direction = np.zeros(wide.shape, np.int8)
    for square in squares_over(wide, grid.bounds, margin_m=REACH_M):
        part = np.stack([square.around(plane) for plane in planes])
        best, number = _best(part, wide.cell_m)
        mean[square.own] = best[square.inner]
        direction[square.own] = number[square.inner]
    own = wide.window_of(grid)
    return mean[own], direction[own]


USUAL_M = 61.0
"""Side of the window in which the usual strength is taken (our choice)."""
LEAST_USUAL = 0.15
"""Strength added to the usual one, so that quiet ground does not make noise stand out (our choice)."""


def stands_out(mean: Heights, grid: Grid, /) -> Heights:
    """(rows, cols) float32 prominence: the strength of `follow` over what is usual around."""
    return (mean / (LEAST_USUAL + usual_around(mean, grid))).astype(np.float32)


def usual_around(values: Heights, grid: Grid, /) -> Heights:
    """(rows, cols) float32 mean in the window of USUAL_M."""
    side = max(1, round(USUAL_M / grid.cell_m)) | 1
    return square_mean(values, side, rim="nearest")


def _best(strength: Heights, cell_m: float) -> tuple[Heights, NDArray[np.int8]]:
    """`follow` in one square."""
    units = [unit_along(number) for number in range(DIRECTIONS)]
    ahead = np.array([(-north, east) for east, north in units] + [(north, -east) for east, north in units])
    steps = np.round(ahead * STEP_M / cell_m).astype(np.int64)
    here = _beside(strength, ahead[:DIRECTIONS])
    come = np.concatenate((here, here))
    for _ in range(STEPS_EACH_WAY):
        come = _one_step(come, here, steps, np.float32(TURN_COST))
    through = (come[:DIRECTIONS] + come[DIRECTIONS:] - here) / np.float32(2 * STEPS_EACH_WAY + 1)
    number = through.argmax(axis=0)
    return np.take_along_axis(through, number[None], axis=0)[0], number.astype(np.int8)


def _beside(strength: Heights, ahead: NDArray[np.float64]) -> Heights:
    """The strength of each cell or of a neighbour across the direction: steps of whole cells miss narrow courses."""
    found = strength.copy()
    for number, (down, right) in enumerate(ahead):
        plane = strength[number]
        for side in (1, -1):
            beside = np.roll(plane, (round(right * side), round(-down * side)), (0, 1))
            found[number] = np.maximum(found[number], beside)
    return found


@compiled
def _one_step(come: Heights, here: Heights, steps: NDArray[np.int64], turn_cost: np.float32) -> Heights:
    """(headings, rows, cols) the best sum of strengths of curves one step longer; 0 is what lies beyond the grid."""
    headings, rows, cols = come.shape
    longer = np.zeros_like(come)
    for heading in range(headings):
        down, right = steps[heading]
        left_of, right_of = come[(heading + 1) % headings], come[(heading - 1) % headings]
        straight, own = come[heading], here[heading % (headings // 2)]
        for row in range(rows):
            behind = row - down
            if behind < 0 or behind >= rows:
                longer[heading, row] = own[row]
                continue
            for col in range(cols):
                back = col - right
                if back < 0 or back >= cols:
                    longer[heading, row, col] = own[row, col]
                    continue
                turned = max(left_of[behind, back], right_of[behind, back]) - turn_cost
                longer[heading, row, col] = own[row, col] + max(straight[behind, back], turned)
    return longer
