"""The lowest and highest last returns of a survey in every cell, whoever called them ground.

Whether a return is ground is a judgement, and two surveys may judge one boulder differently. Where the lowest last
returns of a spot lie is none: a boulder, a house or a pit shows in it, and a thicket only where hardly a pulse came
through.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.filters.box import square_mean
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.sampling import bilinear
from pipeline.lattice.windows import highest_around, lowest_around
from pipeline.refresh.register.shift import Shift
from pipeline.returns.cloud import Cloud

HALF_WINDOW_M = 0.75
"""Half the side of the square in which the lowest return is taken, in metres: at 4 pulses/m2 it holds nine, of which
one comes through nearly any undergrowth. Our choice."""
ABOVE_M = 0.35
"""Last returns higher than this above the reference, in metres, stopped on something that stands on the ground: more
than the roughness of forest floor, less than half of the smallest boulder that is drawn. Our choice."""
NOISE = (7, 18)
"""ASPRS classes of low and high noise."""


@dataclass(frozen=True)
class Seen:
    """Last returns around each cell, heights in metres above the reference surface that both surveys share.

    Attributes
    ----------
    low, high : (rows, cols) float32
        The lowest and the highest last return around a cell; NaN where there is none.
    n_last, n_above : (rows, cols) float32
        How many last returns lie around a cell, and how many of them more than ABOVE_M above the reference.
    single_ratio : (rows, cols) float32
        The share of them that are the only return of their pulse: nearly all on roofs and rock.
    """

    low: Heights
    high: Heights
    n_last: Heights
    n_above: Heights
    single_ratio: Heights

    @property
    def above_ratio(self) -> Heights:
        """(rows, cols) the share of the last returns around a cell that stopped above the ground; 0 where none lie."""
        return (self.n_above / np.maximum(self.n_last, 1)).astype(np.float32)


def returns_seen(clouds: Iterable[Cloud], reference: Heights, grid: Grid, /, *, shift: Shift | None = None) -> Seen:
    """What last returns show around each cell of a grid.

    Parameters
    ----------
    clouds : the survey, tile by tile
    reference : (rows, cols) elevation in metres that heights are counted from, smooth and the same for both surveys
    shift : added to the returns before they are counted (those of the old survey)
    """
    move = shift or Shift()
    n_cells = grid.rows * grid.cols
    low, high = np.full(n_cells, np.inf, np.float32), np.full(n_cells, -np.inf, np.float32)
    count, upper, single = (np.zeros(n_cells, np.float32) for _ in range(3))
    for cloud in clouds:
        last = cloud.is_last & cloud.is_usable & ~np.isin(cloud.producer_class, NOISE)
        east, north = cloud.east[last] + move.east_m, cloud.north[last] + move.north_m
        cell = grid.cell_index(east, north)
        inside = cell >= 0
        cell, east, north = cell[inside], east[inside], north[inside]
        above = cloud.height[last][inside] + move.up_m - _heights_at(reference, grid, east, north)
        known = np.isfinite(above)
        cell, above = cell[known], above[known].astype(np.float32)
        np.minimum.at(low, cell, above)
        np.maximum.at(high, cell, above)
        count += np.bincount(cell, minlength=n_cells).astype(np.float32)
        upper += np.bincount(cell[above > ABOVE_M], minlength=n_cells).astype(np.float32)
        alone = (cloud.n_returns[last] <= 1)[inside][known]
        single += np.bincount(cell[alone], minlength=n_cells).astype(np.float32)
    shaped = [part.reshape(grid.shape) for part in (low, high, count, upper, single)]
    return _around(shaped[0], shaped[1], shaped[2], shaped[3], shaped[4], grid.cell_m)


def _heights_at(
    reference: Heights, grid: Grid, east: NDArray[np.float64], north: NDArray[np.float64]
) -> NDArray[np.float64]:
    row, col = grid.north_row - 0.5 - north / grid.cell_m, east / grid.cell_m - grid.west_col - 0.5
    return bilinear(reference, row, col)


def _around(low: Heights, high: Heights, count: Heights, upper: Heights, single: Heights, cell_m: float) -> Seen:
    half = max(0, round(HALF_WINDOW_M / cell_m - 0.5))
    side = 2 * half + 1
    lowest, highest = lowest_around(low, half), highest_around(high, half)
    n_last, n_above, alone = (square_mean(values, side, rim="constant") * side**2 for values in (count, upper, single))
    return Seen(
        np.where(np.isfinite(lowest), lowest, np.nan).astype(np.float32),
        np.where(np.isfinite(highest), highest, np.nan).astype(np.float32),
        n_last,
        n_above,
        (alone / np.maximum(n_last, 1)).astype(np.float32),
    )
