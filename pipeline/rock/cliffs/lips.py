"""Lips: the ground behind the edge of a step, put back where a ground filter took it for plants.

Under crowns a ground filter drops the last metre or two above a step: seen from below, what stands out there may as
well be a bush. The bare earth then falls as a slope. But a bush lets some pulses through, and a terrace none: where
it reaches to the edge, the lowest last returns lie on the ground above, continued to the edge, and no return comes
from beneath. On a slope with bushes, returns come from beneath.
"""

from __future__ import annotations

import numpy as np
import shapely

from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.outlines.skeleton import ridge_lines
from pipeline.rock.cliffs.breaks import (
    LIP_BENEATH_M,
    LIP_EXCESS_M,
    Break,
    Windows,
    cells_around,
    find_breaks,
    places_along,
)
from pipeline.rock.cliffs.falls import CLIFF_RUN_M, Floats, Steps, measure_steps

RAISE_M = 3.5
"""How far behind the edge of a step the ground above is put back: somewhat more than the metre or two that a ground
filter takes off (our choice)."""
RAISE_ALONG_M = 1.0
"""How far to both sides of a place along the step the ground is put back: places lie a metre apart, so that they
overlap."""
EVERY_CELL_SHARE = 0.7
"""Steps of this share of a cell meet every cell, however the window is turned: half the diagonal of a cell."""


def put_back_lips(bare_earth: Heights, lowest: Heights, grid: Grid, /) -> Heights:
    """(rows, cols) float32, metres: the bare earth, higher where the ground above a step reaches farther.

    Parameters
    ----------
    bare_earth : (rows, cols) float32, metres
    lowest : (rows, cols) float32, metres
        As `pipeline.terrain.surface.lowest_last` gives it.
    """
    steps = measure_steps(bare_earth, grid)
    lines = places_along(_lines_of_steps(steps, grid), steps, grid)
    total, count = np.zeros((2, *grid.shape))
    for places, window, found in find_breaks(lines, lowest, bare_earth, grid):
        every = cells_around(
            places,
            lowest,
            np.isfinite(lowest),
            grid,
            across_m=RAISE_M,
            along_m=RAISE_ALONG_M,
            step_share=EVERY_CELL_SHARE,
        )
        level = found.above.at(every) + window.base
        which = _is_terrace(every, found, level, grid.cell_m)
        cell = every.row[which], every.col[which]
        np.add.at(total, cell, level[which])
        np.add.at(count, cell, 1)
    raised = count > 0
    heights = bare_earth.copy()
    heights[raised] = np.fmax(heights[raised], total[raised] / count[raised])
    heights[~np.isfinite(bare_earth)] = np.nan
    return heights


MIN_SLOPE_DEG = 20.0
"""Least slope over the run of what may be a step that lost its lip: 1 m that a filter blurred over 3 m falls so."""
MIN_LENGTH_M = 4.0
"""Lines of such cells shorter than this show no direction and are left alone (our choice)."""


def _lines_of_steps(steps: Steps, grid: Grid, /) -> list[shapely.LineString]:
    """Lines along everything that may be a step, however blurred."""
    least_fall_m = np.tan(np.radians(MIN_SLOPE_DEG)) * CLIFF_RUN_M
    is_step = (steps.excess_m >= LIP_EXCESS_M) & (steps.fall_m >= least_fall_m)
    return [line for line in ridge_lines(is_step, grid) if line.length >= MIN_LENGTH_M]


def _is_terrace(window: Windows, found: Break, level: Floats, cell_m: float, /) -> Mask:
    """(k, across, along) cells just behind a break beneath whose level no return was found.

    The break is known to half a cell: one more cell counts where a return in it shows the ground above.
    """
    from_lip = window.down - found.at[:, None, None]
    least = level - LIP_BENEATH_M
    is_seen = window.is_seen & (window.lowest + window.base >= least) & (from_lip < 0.5 * cell_m)
    which: Mask = found.is_sure[:, None, None] & window.is_inside & (is_seen | (~window.is_seen & (from_lip < 0)))
    return which
