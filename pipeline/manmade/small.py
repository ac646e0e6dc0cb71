"""Small solid things on open ground, as candidates: cairns (526), huts and shelters (530), stands and posts (531)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import Point

from pipeline.features import make_features, no_features
from pipeline.lattice.filters.box import square_mean
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.larger_cells import highest_into, larger_cells, sum_into
from pipeline.lattice.windows import highest_around

SMALL_COUNTS = ("all_returns", "last_returns", "ground_returns")
"""Counts that small things are told by, see `pipeline.terrain.counts.class_counts`."""
CELL_M, MOST_CELL_M = 0.5, 0.75
"""Least cell in metres in which they are looked for, and widest in which a thing of 2 m is told from its surroundings
(our choice)."""
LEAST_HEIGHT_M, TALLEST_M = 0.5, 12.0
"""Height in metres of the lowest cairn (ISOM 2017-2, 526) and of the highest stand (our choice)."""
OPEN_M, MOST_GROWN_SHARE = 25.0, 0.1
"""Side in metres of the square around a thing in which at most this share stands as high as a cairn: among bushes, cars
and houses nobody would look for one (our choice)."""
SOLID_LAST_SHARE = 0.9
"""Least share of its returns that are last ones: leaves let part of a pulse through, walls and stones do not (our
choice)."""
LEAST_RETURNS = 6
"""Returns from which a thing is told from a stray (our choice)."""
MOST_LENGTH_M = 4.5
"""Longest side in metres: a car is longer, a hut too small for 521 (4 m on the ground at 1:15 000) is not (our
choice)."""
EVEN_M = 0.8
"""Most difference in metres between the heights of neighbouring cells within a thing: crowns are more ragged (our
choice)."""
CAIRN_M, CAIRN_LENGTH_M = 1.8, 3.0
"""Height and length in metres up to which it may be a cairn (our choice)."""
SUMMIT_M, SUMMIT_RISE_M, SUMMIT_FALL_M = 20.0, 0.3, 0.7
"""A cairn stands where no ground in the square that reaches so many metres is higher than its foot by more than the
second, and the ground there is lower by the third on average: people build them on tops (our choice)."""
HUT_HEIGHT_M, HUT_M2 = 1.8, 3.0
"""Least height in metres of a hut or shelter, in which a person sits, and its least area in square metres (our
choice)."""
STAND_M = 2.5
"""Least height in metres of a stand or post, which is thinner than a hut (our choice)."""
CAIRN = "526"
CONFIDENCE = {CAIRN: 0.2, "530": 0.25, "531": 0.15}
"""Not measured, for want of a survey with such things mapped: candidates for the mapper to look at."""
WORDS = {CAIRN: "a cairn", "530": "a hut or shelter", "531": "a stand, post or other built thing"}


@dataclass(frozen=True)
class _Thing:
    """A solid thing: its middle, its height above the ground and length in metres, and the symbol it may be."""

    middle: Point
    height_m: float
    length_m: float
    symbol: str


def draw_small(
    canopy_height: Heights, bare_earth: Heights, counts: Mapping[str, Heights], grid: Grid, /
) -> gpd.GeoDataFrame:
    """Candidates for cairns, huts too small for 521, and other small built things of open ground, as points.

    Parameters
    ----------
    canopy_height : (rows, cols) float32, metres of the highest return above the bare earth; NaN where there is none
    bare_earth : (rows, cols) float32, metres, NaN where unknown
    counts : SMALL_COUNTS, (rows, cols) each
    """
    cells, times = larger_cells(grid, least_m=CELL_M)
    if cells.cell_m > MOST_CELL_M or not np.isfinite(bare_earth).any():
        return no_features(grid.crs)
    tops = np.nan_to_num(highest_into(canopy_height, grid, cells, times))
    stands = tops >= LEAST_HEIGHT_M
    grown = square_mean(stands.astype(np.float32), round(OPEN_M / cells.cell_m) | 1, rim="nearest")
    # Woods hold most of what stands, and need not be numbered piece by piece.
    labels, n = ndimage.label(stands & (grown <= MOST_GROWN_SHARE), np.ones((3, 3)))
    if not n:
        return no_features(grid.crs)
    sums = sum_into({name: counts[name] for name in SMALL_COUNTS}, grid, cells, times)
    few = _may_be(labels, n, sums, cells.cell_m)
    if not len(few):
        return no_features(grid.crs)
    boxes = ndimage.find_objects(labels)
    things = [_thing(number, boxes[number - 1], labels, tops, sums, cells) for number in few]
    found = [thing for thing in things if thing and (thing.symbol != CAIRN or _on_top(thing, bare_earth, grid))]
    return _features(found, grid.crs)


def _may_be(labels: NDArray[np.signedinteger], n: int, sums: Mapping[str, Heights], cell_m: float) -> NDArray[np.intp]:
    """Numbers of the pieces that are small and solid."""
    at = np.flatnonzero(labels)
    piece = labels.ravel()[at]
    cells = np.bincount(piece, minlength=n + 1)
    total, last = (np.bincount(piece, sums[name].ravel()[at], n + 1) for name in ("all_returns", "last_returns"))
    keep = (cells >= 2) & (cells * cell_m**2 <= MOST_LENGTH_M**2)
    keep &= (total >= LEAST_RETURNS) & (last >= SOLID_LAST_SHARE * total)
    keep[0] = False
    return np.flatnonzero(keep)


def _thing(
    number: int,
    box: tuple[slice, slice],
    labels: NDArray[np.signedinteger],
    tops: Heights,
    sums: Mapping[str, Heights],
    cells: Grid,
) -> _Thing | None:
    """One piece, if it is solid and of the size of something that people built."""
    mask = labels[box] == number
    reached = float(sums["ground_returns"][box][mask].sum())
    rows, cols = np.nonzero(mask)
    length_m = float(max(np.ptp(rows), np.ptp(cols)) + 1) * cells.cell_m
    heights = tops[box][mask]
    height_m, area_m2 = float(np.median(heights)), mask.sum() * cells.cell_m**2
    symbol = _symbol(height_m, length_m, area_m2, is_closed=reached == 0)
    if not symbol or heights.max() > TALLEST_M or _ragged(tops[box], mask):
        return None
    row, col = box[0].start + rows.mean(), box[1].start + cols.mean()
    middle = Point((cells.west_col + col + 0.5) * cells.cell_m, (cells.north_row - row - 0.5) * cells.cell_m)
    return _Thing(middle, float(heights.max()), length_m, symbol)


def _ragged(tops: Heights, mask: Mask) -> bool:
    """Whether heights jump within the piece, its rim left out where it has an inside."""
    inner = ndimage.binary_erosion(mask)
    core = inner if inner.sum() >= 2 else mask
    higher = highest_around(np.where(core, tops, 0).astype(np.float32), 1)
    return bool(np.median((higher - tops)[core]) > EVEN_M)


def _symbol(height_m: float, length_m: float, area_m2: float, *, is_closed: bool) -> str:
    """What a solid thing of this size may be; nothing where it is likelier a bush, a boulder or a car."""
    if height_m <= CAIRN_M:
        return CAIRN if length_m <= CAIRN_LENGTH_M else ""
    if length_m > MOST_LENGTH_M:
        return ""
    if is_closed and height_m >= HUT_HEIGHT_M and area_m2 >= HUT_M2:
        return "530"
    return "531" if height_m >= STAND_M and area_m2 < HUT_M2 else ""


def _on_top(thing: _Thing, bare_earth: Heights, grid: Grid) -> bool:
    """Whether it stands on the top of what is around; never where the ground is unknown."""
    row = int(grid.north_row - thing.middle.y / grid.cell_m)
    col = int(thing.middle.x / grid.cell_m - grid.west_col)
    reach = round(SUMMIT_M / grid.cell_m)
    around = bare_earth[max(row - reach, 0) : row + reach + 1, max(col - reach, 0) : col + reach + 1]
    foot = bare_earth[row, col]
    known = around[np.isfinite(around)]
    return bool(known.size and known.max() <= foot + SUMMIT_RISE_M and known.mean() <= foot - SUMMIT_FALL_M)


def _features(found: list[_Thing], crs: str) -> gpd.GeoDataFrame:
    """The candidates with confidence and evidence."""
    if not found:
        return no_features(crs)
    return make_features(
        [thing.middle for thing in found],
        crs=crs,
        symbol=[thing.symbol for thing in found],
        confidence=[CONFIDENCE[thing.symbol] for thing in found],
        evidence=[
            f"solid, {thing.height_m:.1f} m high and {thing.length_m:.1f} m long, alone on open ground: perhaps "
            f"{WORDS[thing.symbol]}"
            for thing in found
        ],
        height_m=[thing.height_m for thing in found],
        width_m=[thing.length_m for thing in found],
    )
