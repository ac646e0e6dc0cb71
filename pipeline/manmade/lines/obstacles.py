"""Hedges (416), fences (516) and free walls (513) on open land, from what stands in thin lines above the bare earth."""

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
from pipeline.lattice.sampling import mean_along
from pipeline.manmade.lines.joining import joined_over_gaps
from pipeline.manmade.lines.ridges import find_ridges
from pipeline.manmade.lines.walls import chain_lines, straightness
from pipeline.manmade.tracks.crests import crests

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


@dataclass(frozen=True)
class _Measured:
    """A line with its mean height and width in metres.

    `ground_share` is the share of returns that reach the ground along it, of that beside it.
    """

    line: LineString
    height_m: float
    width_m: float
    ground_share: float


def draw_obstacles(
    canopy_height: Heights, bare_earth: Heights, counts: Mapping[str, Heights], grid: Grid, /
) -> gpd.GeoDataFrame:
    """Hedges (416), fences (516) and walls (513) of open land.

    A hedge is drawn as a line, for nobody has measured here how hard it is to get through: where the understorey says
    so, the section on vegetation draws 410. The confidence is a guess: only invented hedges and walls were there to
    measure with.

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
    found = [_measured(line, tops, sums, cells) for line in long]
    return _features([one for one in found if one.height_m <= TALLEST_M], grid.crs)


def _is_open(tops: Heights, cells: Grid) -> Mask:
    """(rows, cols) bool: cells with little growth around."""
    side = round(OPEN_M / cells.cell_m) | 1
    return np.asarray(square_mean((tops >= GROWN_M).astype(np.float32), side, rim="nearest") <= MOST_GROWN_SHARE)


def _measured(line: LineString, tops: Heights, sums: Mapping[str, Heights], cells: Grid) -> _Measured:
    """Height, width and solidity of a line, from lines beside it."""
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
    return _Measured(line, top, width, share)


def _features(found: list[_Measured], crs: str) -> gpd.GeoDataFrame:
    """The lines with symbol, confidence and evidence."""
    hedges = [one for one in found if one.width_m >= HEDGE_WIDTH_M and one.line.length >= LEAST_HEDGE_M]
    thin = [one for one in found if one.width_m < HEDGE_WIDTH_M and one.height_m < THIN_HEIGHT_M]
    drawn = hedges + thin
    if not drawn:
        return no_features(crs)
    symbols = ["416"] * len(hedges) + ["513" if one.ground_share <= WALL_GROUND_SHARE else "516" for one in thin]
    return make_features(
        [one.line for one in drawn],
        crs=crs,
        symbol=symbols,
        confidence=0.5,
        evidence=[_sentence(one, symbol) for one, symbol in zip(drawn, symbols, strict=True)],
        height_m=[one.height_m for one in drawn],
        width_m=[one.width_m for one in drawn],
    )


def _sentence(one: _Measured, symbol: str) -> str:
    what = "hedge" if symbol == "416" else "thin line"
    return (
        f"{what} on open land, {one.height_m:.1f} m high, {one.width_m:.1f} m wide; {one.ground_share:.0%} of the "
        "returns that reach the ground beside it do so there"
    )
