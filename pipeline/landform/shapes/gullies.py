"""Erosion gullies 107 and small erosion gullies 108."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import geopandas as gpd
import numpy as np

from pipeline.landform.shapes.edges import (
    Axes,
    Floats,
    Strip,
    contrast,
    draw_axes,
    furrow_axes,
    join_axes,
    profile,
)
from pipeline.landform.shapes.surroundings import LEAST_UNEVENNESS_M
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.norm.symbols import isom


@dataclass(frozen=True)
class Relief:
    """What lies across a narrow line, one array a column; NaN where something is unknown.

    Attributes
    ----------
    depth_m : (n,) float64
        How far the axis lies below both flanks.
    width_m : (n,) float64
        How far apart those flanks are.
    notch_m : (n,) float64
        How much deeper the axis lies than that of a valley with straight sides and shoulders as high.
    """

    depth_m: Floats
    width_m: Floats
    notch_m: Floats

    def where(self, chosen: Mask, /) -> Relief:
        """The chosen places."""
        return Relief(self.depth_m[chosen], self.width_m[chosen], self.notch_m[chosen])


FLANKS_M = (2.0, 3.0, 4.0)
"""Distances from the axis at which the flanks of a gully or wall are looked at, so that it is 4 to 8 m wide; wider ones
are re-entrants and spurs, which contours show (our choice)."""
SHOULDER_M = 9.0
"""Distance of the shoulders from the axis: a trough that deepens evenly from there is a valley (our choice)."""
MIN_FLANK_SHARE = 0.5
"""Height of the lower flank over the mean of both, below which the axis is not the bottom of a furrow but the foot of a
step (our choice)."""


def relief_across(heights: Heights, grid: Grid, strip: Strip, /) -> Relief:
    """How far the axis lies below both flanks, where it cuts deepest into the ground around.

    The mean of the two flanks takes out the slope across; the lower flank alone must still stand half as
    high, else the axis is the foot of a step. A trough that goes on deepening evenly towards the shoulders is a valley;
    a gully is a notch, deeper near its axis than the line from the axis to the shoulders.
    """
    flanks = np.array(FLANKS_M)
    z = profile(heights, grid, strip, [*-flanks, 0.0, *flanks, -SHOULDER_M, SHOULDER_M])
    n = len(flanks)
    left, middle, right = z[:, :n], z[:, n : n + 1], z[:, n + 1 : 2 * n + 1]
    both = (left + right) / 2 - middle
    lower = np.minimum(left, right) - middle
    shoulder = np.maximum(z[:, -2:].mean(axis=1, keepdims=True) - middle, 0)
    notch = np.where(lower >= MIN_FLANK_SHARE * both, both - shoulder * flanks / SHOULDER_M, np.nan)
    best = np.argmax(np.nan_to_num(notch, nan=-np.inf), axis=1)
    place = np.arange(len(best))
    depth = np.where(np.isfinite(notch), both, np.nan)
    return Relief(depth[place, best], 2 * flanks[best], notch[place, best])


MIN_PLACE_CONTRAST = 1.8
"""How many times deeper than the usual trough round about each place on a furrow must be (our choice)."""
MIN_FURROW_CONTRAST = 2.8
"""How many times deeper than the usual trough round about a whole furrow of the least length must be; longer ones need
less (our choice)."""


def find_furrows(
    heights: Heights,
    grid: Grid,
    /,
    *,
    min_depth_m: float,
    min_length_m: float,
    left_out: Callable[[Strip, Relief], Mask] = lambda _, relief: np.zeros(len(relief.depth_m), bool),
) -> Axes:
    """Narrow furrows at least this deep and long. For walls, pass the heights with their sign turned.

    Parameters
    ----------
    left_out
        Says of each place whether it is something else.
    """
    strip = furrow_axes(heights, grid)
    relief = relief_across(heights, grid, strip)
    # Natural ground is full of troughs; what is compared with them is the notch, not the whole depth.
    stands_out = contrast(relief.notch_m, strip, grid, least=LEAST_UNEVENNESS_M)
    deep = (np.nan_to_num(relief.depth_m) >= min_depth_m) & (stands_out >= MIN_PLACE_CONTRAST)
    deep[deep] = ~left_out(strip.where(deep), relief.where(deep))
    found = relief.where(deep)
    return join_axes(
        strip.where(deep),
        found.depth_m,
        found.width_m,
        stands_out[deep],
        grid,
        min_contrast=MIN_FURROW_CONTRAST,
        min_length_m=min_length_m,
    )


FLOOR_STEP_M = 0.5
"""The floor of a furrow is measured at steps of this, from flank to flank."""
FLOOR_SHARE = 0.15
"""Ground higher than the axis by no more than this share of the depth is floor (our choice)."""
MIN_LANE_FLOOR_M = 2.5
"""Floor from which a furrow is a cutting: that of a lane for carts is 2.5 to 3.5 m wide; an even furrow of 8 m from
brink to brink has 2 m at most, seen by cells of a metre (common practice, no source)."""


def is_lane(heights: Heights, grid: Grid, strip: Strip, relief: Relief, /) -> Mask:
    """(n,) bool: places on the flat floor of a wide cutting, whose two sides are earth banks (104) and no gully."""
    reach_m = FLANKS_M[-1]
    across = profile(heights, grid, strip, np.arange(-reach_m, reach_m + FLOOR_STEP_M / 2, FLOOR_STEP_M).tolist())
    middle = across[:, across.shape[1] // 2, None]
    is_floor = across <= middle + FLOOR_SHARE * relief.depth_m[:, None]
    floor_m = FLOOR_STEP_M * is_floor.sum(axis=1)
    return np.asarray((relief.depth_m >= isom("104").smallest.height_m) & (floor_m >= MIN_LANE_FLOOR_M))


def draft_gullies(heights: Heights, grid: Grid, seen: Heights, seen_grid: Grid, /) -> gpd.GeoDataFrame:
    """Gullies as lines along their bottom: 107 from the standard's depth, 108 where shallower; no sunken lanes.

    Returns
    -------
    GeoDataFrame of pieces (`pipeline.landform.lines.line_pieces`) with sums of the depth as height, and of the width.
    """
    small = isom("108").smallest
    axes = find_furrows(
        heights, grid, min_depth_m=small.height_m, min_length_m=small.length_m, left_out=partial(is_lane, heights, grid)
    )

    def symbols(mean: dict[str, Floats]) -> list[str]:
        return list(np.where(mean["height"] >= isom("107").smallest.height_m, "107", "108"))

    return draw_axes(axes, seen, seen_grid, crs=grid.crs, symbol=symbols)
