"""Courses: from where a stream begins on, down to a lake, the edge of the survey or a sink, without a gap."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.water.drainage.drainage import Drainage

BRIDGE_M = 60.0
"""Length of a course, in metres, over which nothing is seen of a small stream that is seen again below: a wet meadow,
a thicket where the ground was hardly seen, a field road. A longer one ends it: it sinks or spreads. Our choice."""


def wet_cells(
    drainage: Drainage, starts: NDArray[np.int64], shown: NDArray[np.bool_], /, *, cell_m: float
) -> NDArray[np.bool_]:
    """(n,) bool: cells that water runs through from `starts` on.

    A course goes on through cells that are `shown` (a bed is seen, or so much ground drains to them that water runs
    without one) and over gaps of at most `BRIDGE_M` between them or before the water leaves the survey or sinks.
    """
    wet = np.zeros(len(drainage.receiver), np.bool_)
    _follow(drainage.receiver, starts, shown, max(1, round(BRIDGE_M / cell_m)), wet)
    return wet


@compiled
def _follow(
    receiver: NDArray[np.int64],
    starts: NDArray[np.int64],
    shown: NDArray[np.bool_],
    bridge: int,
    wet: NDArray[np.bool_],
) -> None:
    """Fill `wet` from each start down to where its course ends."""
    for start in starts:
        sure, at, gap = start, start, 0
        while at >= 0 and gap <= bridge:
            ends = receiver[at] < 0
            if shown[at] or wet[at] or ends:
                done = wet[at]
                while sure != at:
                    wet[sure] = True
                    sure = receiver[sure]
                wet[at] = True
                gap = 0
                if done or ends:
                    break
            else:
                gap += 1
            at = receiver[at]
