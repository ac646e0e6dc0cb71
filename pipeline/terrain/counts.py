"""Counts of returns by class in each cell: sums, so that blocks side by side add up to the whole area.

Whoever wants to know how well a place was seen, and of what class, asks these.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.per_cell import count_in_cells, sum_in_cells
from pipeline.returns.asprs import BUILDING, GROUND, UNCLASSIFIED, VEGETATION, WATER, WIRE
from pipeline.returns.cloud import Cloud

GROWTH_BOTTOM_M = 0.12
"""Returns of plants from this height up come from grass or heath, lower ones from the ground: about four times the
noise of an airborne range-finder, some 0.03 m. Lower, bare ground looks rough; higher, short heath is missed (our
choice)."""

LOOSE = (UNCLASSIFIED, *VEGETATION)
"""Classes of returns that may lie on the ground without being classed so."""
CLASSES = {"ground_returns": GROUND, "building_returns": BUILDING, "water_returns": WATER}
"""Class of the returns that each grid of `class_counts` counts."""


def class_counts(
    asprs_class: NDArray[np.uint8], east: NDArray[np.float64], north: NDArray[np.float64], is_last: Mask, grid: Grid, /
) -> dict[str, Heights]:
    """Returns in each cell, (rows, cols) each: all of them, last ones, and those of some classes.

    Parameters
    ----------
    asprs_class, east, north, is_last : (n,)
        Returns of the block and its halo; those outside the grid are left out.

    Returns
    -------
    `all_returns`, `last_returns` and a grid for each name of CLASSES, (rows, cols) float32.
    """
    cell = grid.cell_index(east, north)
    chosen = {"all_returns": np.ones(len(cell), bool), "last_returns": is_last}
    chosen |= {name: asprs_class == code for name, code in CLASSES.items()}
    return {name: count_in_cells(cell[which], grid.shape).astype(np.float32) for name, which in chosen.items()}


def lone_ground(
    cloud: Cloud, asprs_class: NDArray[np.uint8], height_above_m: NDArray[np.float32], grid: Grid, /
) -> dict[str, Heights]:
    """Returns from the ground that are the only one of their pulse, and the sum of their intensity.

    Returns lower than grass count as ground beside those classed so, since a survey's own ground may be thinned. A
    pulse that met a twig on its way has spent some of its light there, so only returns that are alone can be compared.
    Intensity is left as the survey gives it. Flight lines differ in gain and range by a fifth (measured in a survey
    of three), and no factor found within a block would be the same in the next: whoever reads the sums compares with
    ground nearby and asks for more contrast than that.

    Parameters
    ----------
    asprs_class, height_above_m : (n,) class and height above bare earth (metres) of the cloud's returns

    Returns
    -------
    `lone_ground_returns` and `lone_ground_intensity_sum`, (rows, cols) float32.
    """
    on_ground = (asprs_class == GROUND) | (np.isin(asprs_class, LOOSE) & (height_above_m < GROWTH_BOTTOM_M))
    which = on_ground & (cloud.n_returns <= 1) & (cloud.return_number <= 1) & cloud.is_usable
    cell = grid.cell_index(cloud.east[which], cloud.north[which])
    # Sums of whole numbers are exact, in whatever order they are taken.
    shine = sum_in_cells(cell, cloud.intensity[which], grid.shape)
    return {
        "lone_ground_returns": count_in_cells(cell, grid.shape).astype(np.float32),
        "lone_ground_intensity_sum": shine.astype(np.float32),
    }


DECIMETRES_PER_M = 10.0


def wire_counts(
    cloud: Cloud, asprs_class: NDArray[np.uint8], height_above_m: NDArray[np.float32], grid: Grid, /
) -> dict[str, Heights]:
    """Returns from wires, and the sum of their heights above the bare earth.

    Heights are added up in whole decimetres: such sums are exact, in whatever order they are taken.

    Returns
    -------
    `wire_returns` and `wire_height_sum_dm`, (rows, cols) float32.
    """
    which = (asprs_class == WIRE) & cloud.is_usable & np.isfinite(height_above_m)
    cell = grid.cell_index(cloud.east[which], cloud.north[which])
    height_dm = np.round(height_above_m[which] * DECIMETRES_PER_M)
    return {
        "wire_returns": count_in_cells(cell, grid.shape).astype(np.float32),
        "wire_height_sum_dm": sum_in_cells(cell, height_dm, grid.shape).astype(np.float32),
    }
