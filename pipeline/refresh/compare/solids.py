"""Hard things that came or went: houses and boulders, told by where the lowest last returns lie."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.special import xlogy

from pipeline.lattice.filters.box import square_mean
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.refresh.compare.regions import large_enough, parts_of
from pipeline.refresh.compare.returns_seen import HALF_WINDOW_M, NearGround, Seen

HOUSE_M, HOUSE_GROUND_M = 1.8, 0.6
"""A house has no return lower than this above the ground, where there was one within that of it, in metres. Our
choice."""
HOUSE_WIDTH_M, HOUSE_LEAST_M2, HOUSE_SINGLE_RATIO = 2.0, 10.0, 0.45
"""Its least width and area, with half a metre all around that the window takes off, and the share of pulses with one
return: a roof lets none through, but for its edges and the odd bough above. Our choice."""
LUMP_RATIO, FLAT_RATIO = 0.7, 0.15
"""A lump stood where so large a share of the last returns stopped above the ground, and is gone where now at most so
small a share does. Our choice."""
LUMP_RETURNS = 4.0
"""Last returns around each cell without which a lump is not told, in either survey: boulders of half a metre stop fewer
at 4 pulses/m2 and are not visible. Our choice."""
LUMP_MOST_CELL_M = 1.0
"""In larger cells, which thin surveys have, boulders are not told. Our choice."""
LUMP_LEAST_M2, LUMP_WIDEST_M, LUMP_LOWEST_M, LUMP_HIGHEST_M = 0.5, 10.0, 0.4, 6.0
"""Area of the smallest lump where the window has taken its rim off, width of the largest boulder, and heights between
which a lump is a boulder. Our choice."""
SOLID_RATIO = 0.8
"""Of the last returns of a rock at least this share are the only one of their pulse. Our choice."""

SMALL_SQUARES = ((1.0, 12.4), (1.5, 16.0))
"""Sides of the squares, in metres, that boulders too small for `lumps` fill, and how far counts of two surveys in them
must be from those of one and the same thing: twice the log-likelihood ratio. Chance alone exceeds the first once in
2000 bushes; the larger square holds more twigs that are not independent. Fitted on `scene_a` and made places 31 and
58."""
BAND_ROWS = 1024
"""Rows of cells that are counted at once."""
SMALL_RETURNS = 3
"""Last returns in such a square without which either survey tells nothing of it. Our choice."""
SMALL_ABOVE_RATIO, SMALL_FLAT_RATIO, SMALL_SOLID_RATIO = 0.8, 0.12, 0.9
"""Of the last returns near the ground so many stop on a small boulder, and hardly any above its spot once it is gone;
and of all returns on it so many are the last of their pulse. Fitted on `scene_a` and made place 31, as are the two
numbers below."""
SMALL_AROUND_M, SMALL_AROUND_RATIO = 3.5, 0.1
"""Side of the square around it, in metres, in which at most so many last returns of the other survey stop above the
ground: among bushes, which pulse is stopped is a matter of chance."""
SMALL_WIDEST_M, SMALL_LOWEST_M, SMALL_HIGHEST_M = 3.0, 0.6, 1.75
"""Width and heights of a small boulder, in metres: what is higher and so narrow is a bush, a trunk or a stack; and the
norm asks 1 m of a boulder, of which the smooth surface that heights are counted from takes up to 0.3 m. Our choice."""
SMALL_RING_M, SMALL_RING_RATIO = (SMALL_WIDEST_M, 5.0), 0.3
"""It stands by itself: between squares of these sides, in metres, at most so many last returns of its own survey stop
above the ground. In a thicket that was cleared each gap between twigs would look like one. Fitted on `scene_a` and
made places 31 and 58."""


@dataclass(frozen=True)
class Lump:
    """A compact thing that stands in one survey and not in the other.

    Attributes
    ----------
    east_m, north_m : float
        Its middle.
    radius_m : float
    height_m : float
        Where even the lowest last returns around a cell of it lie highest, above the ground: no bough is that solid.
        Of a small one, that of its highest last return.
    left_m : float
        What the other survey has there: the height of its lowest last return.
    n_on, n_other : float
        Last returns on it, and on its spot in the other survey.
    solid_ratio : float
        The share of the returns on it that are the only one of their pulse.
    """

    east_m: float
    north_m: float
    radius_m: float
    height_m: float
    left_m: float
    n_on: float
    n_other: float
    solid_ratio: float


def houses(without: Seen, with_house: Seen, /, *, cell_m: float) -> Mask:
    """(rows, cols) cells of houses that stand in one survey and not in the other."""
    with np.errstate(invalid="ignore"):
        cells = (with_house.low > HOUSE_M) & (without.low < HOUSE_GROUND_M)
    cells &= (with_house.single_ratio > HOUSE_SINGLE_RATIO) & (with_house.n_last >= 2) & (without.n_last >= 2)
    side = max(1, round(HOUSE_WIDTH_M / cell_m))
    wide = ndimage.binary_opening(cells, np.ones((side, side), np.bool_))
    kept = large_enough(np.asarray(wide), least_cells=HOUSE_LEAST_M2 / cell_m**2)
    rim = max(0, round(HALF_WINDOW_M / cell_m - 0.5))
    return np.asarray(ndimage.binary_dilation(kept, np.ones((2 * rim + 1, 2 * rim + 1), np.bool_))) if rim else kept


def lumps(standing: Seen, other: Seen, grid: Grid, /) -> list[Lump]:
    """Compact things in one survey whose spot the other one sees as bare ground.

    Whether such a lump is a boulder is for a map, or for `is_rock`, to say.
    """
    if grid.cell_m > LUMP_MOST_CELL_M:
        return []
    cells = (standing.above_ratio >= LUMP_RATIO) & (other.above_ratio <= FLAT_RATIO)
    cells &= (standing.n_last >= LUMP_RETURNS) & (other.n_last >= LUMP_RETURNS)
    found = []
    for window, part in parts_of(cells):
        across = max(window[0].stop - window[0].start, window[1].stop - window[1].start) * grid.cell_m
        if part.sum() * grid.cell_m**2 >= LUMP_LEAST_M2 and across <= LUMP_WIDEST_M:
            found.append(_lump(standing, other, grid, window, part))
    return [lump for lump in found if _least_height_m(lump) <= lump.height_m <= LUMP_HIGHEST_M]


def small_lumps(standing: Seen, other: Seen, grid: Grid, /) -> list[Lump]:
    """Solid things a metre wide in one survey whose spot the other one sees as bare ground.

    These are narrower than the window of `lumps`, so each square metre is asked by itself; and they are told under
    crowns too, where the last returns of many pulses lie far above. They stand by themselves: a thicket is none.
    """
    if grid.cell_m > LUMP_MOST_CELL_M:
        return []
    found: list[Lump] = []
    for side_m, sure in SMALL_SQUARES:
        for lump in _filling_squares(standing, other, grid, max(1, round(side_m / grid.cell_m)), sure):
            is_boulder = SMALL_LOWEST_M <= lump.height_m <= SMALL_HIGHEST_M
            is_boulder &= lump.radius_m <= SMALL_WIDEST_M / 2
            if is_boulder and not any(_touch(lump, one) for one in found):
                found.append(lump)
    return found


def _touch(lump: Lump, other: Lump) -> bool:
    apart_m = float(np.hypot(lump.east_m - other.east_m, lump.north_m - other.north_m))
    return apart_m <= lump.radius_m + other.radius_m


def _filling_squares(standing: Seen, other: Seen, grid: Grid, side: int, sure: float) -> list[Lump]:
    """Things that fill squares of so many cells in one survey and are not there in the other."""
    margin = max(side, round(SMALL_RING_M[1] / grid.cell_m), round(SMALL_AROUND_M / grid.cell_m))
    cells = np.zeros(grid.shape, np.bool_)
    # Band by band: the sums of a whole area at once would take more memory than all rasters of a refresh.
    for start in range(0, grid.rows, BAND_ROWS):
        before, stop = min(margin, start), start + BAND_ROWS
        band = slice(start - before, stop + margin), slice(None)
        here = _filled(standing.near_ground.part(band), other.near_ground.part(band), side, sure, grid.cell_m)
        cells[start:stop] = here[before : before + BAND_ROWS]
    return [_small_lump(standing, other, grid, window, part, side) for window, part in parts_of(cells)]


def _filled(standing: NearGround, other: NearGround, side: int, sure: float, cell_m: float) -> Mask:
    """(rows, cols) cells whose square, of so many cells a side, one survey shows filled and the other one empty."""
    on, off = (_small_counts(near, side) for near in (standing, other))
    cells = (on[0] >= SMALL_RETURNS) & (on[1] >= SMALL_ABOVE_RATIO * on[0])
    cells &= (off[0] >= SMALL_RETURNS) & (off[1] <= SMALL_FLAT_RATIO * off[0])
    cells &= on[1] >= SMALL_SOLID_RATIO * (on[1] + on[2])
    around = _small_counts(other, round(SMALL_AROUND_M / cell_m))
    cells &= around[1] <= SMALL_AROUND_RATIO * np.maximum(around[0], 1)
    inner, outer = (_small_counts(standing, round(across / cell_m)) for across in SMALL_RING_M)
    cells &= outer[1] - inner[1] <= SMALL_RING_RATIO * np.maximum(outer[0] - inner[0], 1)
    cells[cells] = _unlike(on[1][cells], on[0][cells], off[1][cells], off[0][cells]) >= sure
    return cells


def _small_counts(near: NearGround, side: int) -> tuple[Heights, Heights, Heights]:
    """Last returns, those above the ground, and those that pulses passed, in a square of so many cells at each cell."""
    found = [
        np.rint(square_mean(values.astype(np.float32), side, rim="constant") * side**2)
        for values in (near.n_last, near.n_above, near.n_passing)
    ]
    return found[0], found[1], found[2]


def _unlike(k: Heights, n: Heights, other_k: Heights, other_n: Heights) -> NDArray[np.float64]:
    """Twice the log-likelihood ratio of two shares, k of n in each survey, against one share for both."""
    table = [np.asarray(values, np.float64) for values in (k, n - k, other_k, other_n - other_k)]
    sums = [table[0] + table[1], table[2] + table[3], table[0] + table[2], table[1] + table[3]]
    both = sum(xlogy(values, values) for values in table) - sum(xlogy(values, values) for values in sums)
    total = sums[0] + sums[1]
    return np.asarray(2 * (both + xlogy(total, total)), np.float64)


def _small_lump(standing: Seen, other: Seen, grid: Grid, window: tuple[slice, slice], part: Mask, side: int) -> Lump:
    """The lump of a group of squares; an even side reaches one cell farther up and left of its cell."""
    starts = [max(0, axis.start - side) for axis in window]
    wide = slice(starts[0], window[0].stop + side), slice(starts[1], window[1].stop + side)
    own = tuple(slice(axis.start - start, axis.stop - start) for axis, start in zip(window, starts, strict=True))
    on, off = (_small_counts(seen.near_ground.part(wide), side) for seen in (standing, other))
    cells = np.zeros(on[0].shape, np.bool_)
    cells[own[0], own[1]] = part
    covered = ndimage.maximum_filter(cells, side, origin=-1 if side % 2 == 0 else 0, mode="constant")
    row, col = (axis.mean() + 0.5 for axis in np.nonzero(covered))
    return Lump(
        grid.west_m + (starts[1] + col) * grid.cell_m,
        grid.north_m - (starts[0] + row) * grid.cell_m,
        float(np.sqrt(covered.sum() / np.pi)) * grid.cell_m,
        float(standing.near_ground.top[wide][covered].max()),
        float(np.nanmedian(other.low[wide][cells])),
        float(on[0][cells].max()),
        float(off[0][cells].max()),
        float((on[1] / np.maximum(on[1] + on[2], 1))[cells].mean()),
    )


def _least_height_m(lump: Lump) -> float:
    """How high a lump must be: less where it stopped more returns."""
    return LUMP_LOWEST_M if lump.n_on < 1.5 * LUMP_RETURNS else 0.5 * LUMP_LOWEST_M


def _lump(standing: Seen, other: Seen, grid: Grid, window: tuple[slice, slice], part: Mask) -> Lump:
    row, col = (axis.mean() for axis in np.nonzero(part))
    area_m2 = float(part.sum()) * grid.cell_m**2
    radius_m = float(np.sqrt(area_m2 / np.pi)) + HALF_WINDOW_M / 2
    square_m2 = (2 * max(0, round(HALF_WINDOW_M / grid.cell_m - 0.5)) + 1) ** 2 * grid.cell_m**2
    per_m2 = [float(seen.n_last[window][part].mean()) / square_m2 for seen in (standing, other)]
    on_m2 = np.pi * radius_m**2
    return Lump(
        grid.west_m + (window[1].start + col + 0.5) * grid.cell_m,
        grid.north_m - (window[0].start + row + 0.5) * grid.cell_m,
        radius_m,
        float(np.nanmax(standing.low[window][part])),
        float(np.nanmedian(other.low[window][part])),
        per_m2[0] * on_m2,
        per_m2[1] * on_m2,
        float(standing.single_ratio[window][part].mean()),
    )


def is_rock(lump: Lump, /) -> bool:
    """Whether a lump that no map shows is solid enough to be told by itself: no bush, no stack of branches."""
    return lump.solid_ratio >= SOLID_RATIO and lump.n_on >= 2 * LUMP_RETURNS and lump.n_other >= 2 * LUMP_RETURNS


def heights_where(seen: Seen, cells: Mask, /) -> float:
    """Median height of the highest last returns of these cells, metres."""
    values: Heights = seen.high[cells]
    return float(np.nanmedian(values)) if np.isfinite(values).any() else float("nan")
