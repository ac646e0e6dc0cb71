"""Lips: the ground behind the edge of a step, put back where a ground filter took it for plants.

Under crowns a ground filter drops the last metre or two above a step: seen from below, what stands out there may as
well be a bush. The bare earth then falls as a slope. But a bush lets some pulses through, and a terrace none: where
it reaches to the edge, the lowest last returns lie on the ground above, continued to the edge, and no return comes
from beneath. On a slope with bushes, returns come from beneath.
"""

from __future__ import annotations

import numpy as np
import shapely

from pipeline.grid import Grid, Heights, Mask
from pipeline.rock.breaks import Break, Windows, cells_around, find_breaks, places_along
from pipeline.rock.falls import Floats, Steps, measure_steps
from pipeline.rock.ridges import ridge_lines
from pipeline.settings import RockSettings

EVERY_CELL = 0.7
"""Steps of this share of a cell meet every cell, however the window is turned: half a diagonal."""


def put_back_lips(bare_earth: Heights, lowest: Heights, grid: Grid, /, *, settings: RockSettings) -> Heights:
    """(rows, cols) float32, metres: the bare earth, higher where the ground above a step reaches farther.

    Parameters
    ----------
    bare_earth : (rows, cols) float32, metres
    lowest : (rows, cols) float32, metres
        As `pipeline.terrain.surface.lowest_last` gives it.
    """
    steps = measure_steps(bare_earth, grid, settings=settings)
    lines = places_along(_lines_of_steps(steps, grid, settings=settings), steps, grid)
    total, count = np.zeros((2, *grid.shape))
    for places, window, found in find_breaks(lines, lowest, bare_earth, grid, settings=settings):
        every = cells_around(
            places,
            lowest,
            np.isfinite(lowest),
            grid,
            across_m=settings.lip_raise_m,
            along_m=settings.lip_raise_along_m,
            step_share=EVERY_CELL,
        )
        level = found.above.at(every) + window.base
        which = _is_terrace(every, found, level, grid.cell_m, settings=settings)
        cell = every.row[which], every.col[which]
        np.add.at(total, cell, level[which])
        np.add.at(count, cell, 1)
    raised = count > 0
    heights = bare_earth.copy()
    heights[raised] = np.fmax(heights[raised], total[raised] / count[raised])
    heights[~np.isfinite(bare_earth)] = np.nan
    return heights


def _lines_of_steps(steps: Steps, grid: Grid, /, *, settings: RockSettings) -> list[shapely.LineString]:
    """Lines along everything that may be a step, however blurred."""
    least_fall_m = np.tan(np.radians(settings.lip_min_slope_deg)) * settings.cliff_run_m
    is_step = (steps.excess_m >= settings.lip_excess_m) & (steps.fall_m >= least_fall_m)
    return [line for line in ridge_lines(is_step, grid) if line.length >= settings.lip_min_length_m]


def _is_terrace(window: Windows, found: Break, level: Floats, cell_m: float, /, *, settings: RockSettings) -> Mask:
    """(k, across, along) cells just behind a break beneath whose level no return was found.

    The break is known to half a cell: one more cell counts where a return in it shows the ground above.
    """
    from_lip = window.down - found.at[:, None, None]
    least = level - settings.lip_beneath_tolerances * settings.lip_tolerance_m
    is_seen = window.is_seen & (window.lowest + window.base >= least) & (from_lip < 0.5 * cell_m)
    which: Mask = found.is_sure[:, None, None] & window.is_inside & (is_seen | (~window.is_seen & (from_lip < 0)))
    return which
