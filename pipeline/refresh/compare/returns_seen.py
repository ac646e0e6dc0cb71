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
LOW_M = 3.0
"""Returns higher than this above the reference, in metres, stopped in a crown and tell nothing of what lies beneath it;
boulders a metre wide are lower. Our choice."""
NOISE = (7, 18)
"""ASPRS classes of low and high noise."""


@dataclass(frozen=True)
class NearGround:
    """Returns less than LOW_M above the reference in each cell by itself, so that small things show.

    Attributes
    ----------
    n_last, n_above, n_passing : (rows, cols) uint16
        How many last returns there are, how many of them more than ABOVE_M above the reference, and how many returns
        so high were not the last of their pulse: twigs let pulses pass, rock does not.
    top : (rows, cols) float16
        The highest last return, metres above the reference; -inf where there is none.
    """

    n_last: NDArray[np.uint16]
    n_above: NDArray[np.uint16]
    n_passing: NDArray[np.uint16]
    top: NDArray[np.float16]

    @classmethod
    def nothing(cls, shape: tuple[int, int], /) -> NearGround:
        """Without a return yet."""
        counts = [np.zeros(shape, np.uint16) for _ in range(3)]
        return cls(counts[0], counts[1], counts[2], np.full(shape, -np.inf, np.float16))

    def part(self, window: tuple[slice, slice], /) -> NearGround:
        """The cells of a window; a view."""
        return NearGround(self.n_last[window], self.n_above[window], self.n_passing[window], self.top[window])

    def add(self, cell: NDArray[np.int64], above: NDArray[np.float32], is_last: NDArray[np.bool_], /) -> None:
        """Count returns: the number of their cell, metres above the reference, whether they are the last of a pulse."""
        low, high = above < LOW_M, (above > ABOVE_M) & (above < LOW_M)
        one = np.uint16(1)
        np.add.at(self.n_last.reshape(-1), cell[low & is_last], one)
        np.add.at(self.n_above.reshape(-1), cell[high & is_last], one)
        np.add.at(self.n_passing.reshape(-1), cell[high & ~is_last], one)
        np.maximum.at(self.top.reshape(-1), cell[low & is_last], above[low & is_last].astype(np.float16))


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
    near_ground : what each cell by itself shows of the lowest metres
    """

    low: Heights
    high: Heights
    n_last: Heights
    n_above: Heights
    single_ratio: Heights
    near_ground: NearGround

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
    near_ground = NearGround.nothing(grid.shape)
    for cloud in clouds:
        usable = cloud.is_usable & ~np.isin(cloud.producer_class, NOISE)
        cell, above, known = _placed(cloud, usable, reference, grid, move)
        last, alone = cloud.is_last[usable][known], cloud.n_returns[usable][known] <= 1
        near_ground.add(cell, above, last)
        cell, above, alone = cell[last], above[last], alone[last]
        np.minimum.at(low, cell, above)
        np.maximum.at(high, cell, above)
        count += np.bincount(cell, minlength=n_cells).astype(np.float32)
        upper += np.bincount(cell[above > ABOVE_M], minlength=n_cells).astype(np.float32)
        single += np.bincount(cell[alone], minlength=n_cells).astype(np.float32)
    shaped = [part.reshape(grid.shape) for part in (low, high, count, upper, single)]
    return _around(shaped[0], shaped[1], shaped[2], shaped[3], shaped[4], near_ground, grid.cell_m)


def _placed(
    cloud: Cloud, usable: NDArray[np.bool_], reference: Heights, grid: Grid, move: Shift
) -> tuple[NDArray[np.int64], NDArray[np.float32], NDArray[np.bool_]]:
    """Number of the cell and metres above the reference of the usable returns on the grid, and which these are."""
    east, north = cloud.east[usable] + move.east_m, cloud.north[usable] + move.north_m
    cell = grid.cell_index(east, north)
    above = cloud.height[usable] + move.up_m - _heights_at(reference, grid, east, north)
    known = (cell >= 0) & np.isfinite(above)
    return cell[known], above[known].astype(np.float32), known


def _heights_at(
    reference: Heights, grid: Grid, east: NDArray[np.float64], north: NDArray[np.float64]
) -> NDArray[np.float64]:
    row, col = grid.north_row - 0.5 - north / grid.cell_m, east / grid.cell_m - grid.west_col - 0.5
    return bilinear(reference, row, col)


def _around(
    low: Heights,
    high: Heights,
    count: Heights,
    upper: Heights,
    single: Heights,
    near_ground: NearGround,
    cell_m: float,
) -> Seen:
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
        near_ground,
    )
