"""Hedges (416), fences (516) and free walls (513 to 515) on open land, from what stands in thin lines above ground."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import LineString

from pipeline.features import make_features, no_features
from pipeline.lattice.filters.box import square_mean
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.larger_cells import highest_into, larger_cells, sum_into
from pipeline.lattice.sampling import mean_along, sample
from pipeline.lattice.windows import highest_around
from pipeline.manmade.lines.joining import joined_over_gaps
from pipeline.manmade.lines.ridges import find_ridges
from pipeline.manmade.lines.walls import chain_lines, straightness
from pipeline.manmade.tracks.crests import crests
from pipeline.norm.symbols import isom

OBSTACLE_COUNTS = ("all_returns", "ground_returns")
"""Counts that obstacles are told by, see `pipeline.terrain.counts.class_counts`."""
CELL_M = 0.5
"""Least cell in metres in which they are looked for (our choice)."""
MOST_CELL_M = 0.75
"""Widest cell in metres in which a wall or hedge is thin: four of them are as wide as a hedge with both sides (our
choice)."""
TOP_M = 2.5
"""Height in metres from which more counts no more: one tree in a hedge is no hedge (our choice)."""
FOOT_M = 2.0
"""Distance in metres from the middle at which a hedge has ended on both sides (our choice)."""
GOES_ON_M, IS_SURE_M = 0.25, 0.5
"""Height above both sides in metres down to which a line goes on, and that it must reach somewhere (fitted on
`hard_farmland`)."""
LEAST_CREST_M = 8.0
"""Shortest line that is looked at (our choice)."""
OPEN_M, MOST_GROWN_SHARE, GROWN_M = 25.0, 0.3, 1.0
"""Side in metres of the square around a line in which at most this share is grown over, from this height: open land
(fitted on the same)."""
JOIN_M, JOIN_TURN_DEG, LOOK_M = 15.0, 20.0, 8.0
"""Longest gap in metres within one hedge or wall, most degrees by which it turns there, and the length over which its
direction is told: gates and weak stretches (our choice)."""
LEAST_HEDGE_M, LEAST_THIN_M = 40.0, 25.0
"""Length in metres of the shortest hedge, and of the shortest wall or fence: bushes stand in rows by chance (fitted on
the same)."""
STRETCH_STRAIGHT = 0.93
"""Least straightness, see `pipeline.manmade.lines.walls.straightness` (our choice)."""
HEDGE_WIDTH_M, THIN_HEIGHT_M = 1.5, 1.6
"""Width in metres from which it is a hedge, and mean height up to which what is narrower is a wall or fence (our
choice)."""
TALLEST_M = 4.5
"""Mean height in metres from which it is a row of trees (our choice)."""
WALL_GROUND_SHARE = 0.6
"""Share of returns that reach the ground along it, of that beside it, below which it is solid (our choice)."""
BESIDE_M = 4.0
"""Distance in metres at which its surroundings are looked at (our choice)."""
TOP_SHARE = 0.75
"""Share of the places along a line that are lower than what counts as its top: means are lowered by gaps and by returns
from its foot (our choice; of walls of made farms it lies within 0.15 m of their height)."""
OPEN_SHARE, CLOSED_SHARE = 0.7, 0.95
"""Shares of the places along a line at which something reaches half of its top: what shows gaps as in the first is
seldom one thing, what has the second mostly is (fitted on `town`, `hard_farmland` and six made farms: 0.37 to 0.83
where no hedge, wall or fence was known, but for two lines; 0.85 to 1 where one was)."""
LOOSE_GROUND, SOLID_GROUND = 0.9, 0.5
"""Shares of returns that reach the ground, as `WALL_GROUND_SHARE`: with the first nothing stands there that stops a
pulse, with the second or less something does (fitted on the same: 0.6 to 1.5 in the one case, 0.07 to 0.4 in the
other)."""
LEAST_SURE, MOST_SURE, MOST_SURE_FENCE = 0.1, 0.9, 0.45
"""Least and most confidence; of a fence less, as nobody has mapped one here to measure with (our choice)."""


@dataclass(frozen=True)
class _Measured:
    """A line with its mean height, the height of its top and its width in metres.

    `ground_share` is the share of returns that reach the ground along it, of that beside it; `closed_share` is the
    share of its places at which something reaches half of its top.
    """

    line: LineString
    height_m: float
    top_m: float
    width_m: float
    ground_share: float
    closed_share: float


def draw_obstacles(
    canopy_height: Heights, bare_earth: Heights, counts: Mapping[str, Heights], grid: Grid, /
) -> gpd.GeoDataFrame:
    """Hedges (416), fences (516) and walls (513; 514 ruined, 515 impassable) of open land.

    A hedge is drawn as a line, for nobody has measured here how hard it is to get through: where the understorey says
    so, the section on vegetation draws 410. The confidence rests on how whole and how solid a line is: mostly invented
    hedges and walls were there to measure with.

    Parameters
    ----------
    canopy_height : (rows, cols) float32, metres of the highest return above the bare earth; NaN where there is none
    bare_earth : (rows, cols) float32, metres, NaN where unknown
    counts : OBSTACLE_COUNTS, (rows, cols) each
    """
    cells, times = larger_cells(grid, least_m=CELL_M)
    if cells.cell_m > MOST_CELL_M or not np.isfinite(bare_earth).any():
        return no_features(grid.crs)
    tops = np.nan_to_num(highest_into(canopy_height, grid, cells, times))
    sums = sum_into({name: counts[name] for name in OBSTACLE_COUNTS}, grid, cells, times)
    stands, along = find_ridges(np.clip(tops, 0, TOP_M).astype(np.float32), foot_m=FOOT_M, cell_m=cells.cell_m)
    stands = np.where(_is_open(tops, cells), stands, np.float32(0))
    chains = crests(stands, along, cell_m=cells.cell_m, low=GOES_ON_M, high=IS_SURE_M, least_m=LEAST_CREST_M)
    lines = [line for line in chain_lines(chains, cells) if line.length >= LEAST_CREST_M / 2]
    joined = joined_over_gaps(lines, gap_m=JOIN_M, turn_deg=JOIN_TURN_DEG, look_m=LOOK_M)
    long = [line for line in joined if line.length >= LEAST_THIN_M and straightness(line) >= STRETCH_STRAIGHT]
    highest = highest_around(tops, 1) if long else tops
    found = [_measured(line, tops, highest, sums, cells) for line in long]
    return _features([one for one in found if one.height_m <= TALLEST_M], grid.crs)


def _is_open(tops: Heights, cells: Grid) -> Mask:
    """(rows, cols) bool: cells with little growth around."""
    side = round(OPEN_M / cells.cell_m) | 1
    return np.asarray(square_mean((tops >= GROWN_M).astype(np.float32), side, rim="nearest") <= MOST_GROWN_SHARE)


def _measured(line: LineString, tops: Heights, highest: Heights, sums: Mapping[str, Heights], cells: Grid) -> _Measured:
    """Height, width, solidity and wholeness of a line; `highest` is the top of a cell and those around it."""
    dense = LineString(shapely.segmentize(line, cells.cell_m))
    aside = np.arange(-BESIDE_M, BESIDE_M + 0.01, 0.5)
    beside = [np.asarray(shapely.get_coordinates(shapely.offset_curve(dense, by))) for by in aside]
    height = mean_along(tops, cells, beside)
    reached = mean_along(sums["ground_returns"], cells, beside) / np.maximum(
        mean_along(sums["all_returns"], cells, beside), 1e-6
    )
    inner = np.abs(aside) <= BESIDE_M / 2
    top = float(height[inner].max())
    is_far = np.abs(aside) >= BESIDE_M - 1
    base = float(np.median(height[is_far]))
    width = 0.5 * int(np.count_nonzero(height[inner] - base >= (top - base) / 2))
    share = float(reached[np.abs(aside) <= 0.5].min() / max(float(np.median(reached[is_far])), 1e-6))
    around = sample(highest, cells, np.asarray(shapely.get_coordinates(dense)))
    reached_m = around[np.isfinite(around)]
    usual_m = float(np.quantile(reached_m, TOP_SHARE))
    return _Measured(line, top, usual_m, width, share, float((reached_m >= usual_m / 2).mean()))


def _confidence(one: _Measured, symbol: str) -> float:
    """How likely it is there: the more, the fewer gaps it has and, but for fences, the fewer pulses it lets through."""
    whole = (one.closed_share - OPEN_SHARE) / (CLOSED_SHARE - OPEN_SHARE)
    solid = (LOOSE_GROUND - one.ground_share) / (LOOSE_GROUND - SOLID_GROUND)
    most, firm = (MOST_SURE_FENCE, 1.0) if symbol == "516" else (MOST_SURE, float(np.clip(solid, 0, 1)))
    return LEAST_SURE + (most - LEAST_SURE) * float(np.clip(whole, 0, 1)) * firm


def _symbol(one: _Measured) -> str:
    """What a thin line is: a wall, or a fence where pulses reach the ground; a wall by its height, if long enough."""
    if one.ground_share > WALL_GROUND_SHARE:
        return "516"
    least = {number: isom(number).smallest.height_m or 0.0 for number in ("513", "515")}
    by_height = "514" if one.top_m < least["513"] else "515" if one.top_m >= least["515"] else "513"
    # The norm draws short pieces of neither, and a short wall is a wall all the same.
    return by_height if one.line.length >= (isom(by_height).smallest.length_m or 0) else "513"


def _features(found: list[_Measured], crs: str) -> gpd.GeoDataFrame:
    """The lines with symbol, confidence and evidence."""
    hedges = [one for one in found if one.width_m >= HEDGE_WIDTH_M and one.line.length >= LEAST_HEDGE_M]
    thin = [one for one in found if one.width_m < HEDGE_WIDTH_M and one.height_m < THIN_HEIGHT_M]
    drawn = hedges + thin
    if not drawn:
        return no_features(crs)
    symbols = ["416"] * len(hedges) + [_symbol(one) for one in thin]
    return make_features(
        [one.line for one in drawn],
        crs=crs,
        symbol=symbols,
        confidence=[_confidence(one, symbol) for one, symbol in zip(drawn, symbols, strict=True)],
        evidence=[_sentence(one, symbol) for one, symbol in zip(drawn, symbols, strict=True)],
        height_m=[one.top_m for one in drawn],
        width_m=[one.width_m for one in drawn],
    )


def _sentence(one: _Measured, symbol: str) -> str:
    what = "hedge" if symbol == "416" else "thin line"
    return (
        f"{what} on open land, {one.top_m:.1f} m high, {one.width_m:.1f} m wide, whole on {one.closed_share:.0%} of "
        f"its length; {one.ground_share:.0%} of the returns that reach the ground beside it do so there"
    )
