"""Erosion gullies 107 and small erosion gullies 108."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np

from pipeline.features import make_features
from pipeline.landform.shapes.edges import Axes, Floats, Strip, contrast, furrow_axes, join_axes, profile
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.sampling import mean_along
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom

CONTRAST_REACH_M = 100.0
"""How far round about the usual unevenness is taken: more than any landform."""
LEAST_BUMP_M = 0.1
"""Unevenness even ground has from lidar noise (ASPRS: RMSEz 0.1 m and better)."""
LINE_SCALE_M = 1.2
"""Smoothing before they are sought: a third of the narrowest, above lidar noise."""
MAX_ALONG_BEND_SHARE = 0.5
"""Bend of the ground along a line over that across it: round hollows and knolls bend alike both ways."""
MIN_AXIS_CONTRAST = 1.8
"""Times the usual size of such places round about that a place on a line must reach."""
MIN_LINE_CONTRAST = 2.8
"""The same for a whole line of the least length; longer lines need less."""
LINE_BRIDGE_M = 4.0
"""Gaps in a bank, wall or gully drawn all the same."""
LINE_FLANKS_M = (2.0, 3.0, 4.0)
"""Distances from the axis at which the flanks of gullies and walls are looked at; wider ones are re-entrants and
spurs, drawn with contours."""
LINE_SHOULDER_M = 9.0
"""Distance of their shoulders: a trough that deepens evenly from there to its axis is a valley."""
MIN_FLANK_SHARE = 0.5
"""Height of the lower flank over the mean of both from which they are two: else it is a step's foot."""
MIN_GULLY_DEPTH_M = isom("107").smallest.height_m
"""Shallowest erosion gully (ISOM 107)."""
MIN_SMALL_GULLY_DEPTH_M = isom("108").smallest.height_m
"""Shallowest small erosion gully (ISOM 108, from memory)."""
MIN_GULLY_MM = isom("107").mm("min_length_mm")
"""Shortest erosion gully (ISOM 107, 108)."""


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
        How much deeper that is than in a valley with straight sides as high at its shoulders.
    """

    depth_m: Floats
    width_m: Floats
    notch_m: Floats

    def where(self, chosen: Mask, /) -> Relief:
        """The chosen places."""
        return Relief(self.depth_m[chosen], self.width_m[chosen], self.notch_m[chosen])


def relief_across(heights: Heights, grid: Grid, strip: Strip, /) -> Relief:
    """How far the axis lies below both flanks, where it cuts deepest into the ground around.

    The mean of the two flanks takes out the slope across; the lower flank alone must still stand `min_flank_share` as
    high, else the axis is the foot of a step. A trough that goes on deepening evenly towards the shoulders is a valley;
    a gully is a notch, deeper near its axis than the line from the axis to the shoulders.
    """
    flanks, shoulder_m = np.array(LINE_FLANKS_M), LINE_SHOULDER_M
    z = profile(heights, grid, strip, [*-flanks, 0.0, *flanks, -shoulder_m, shoulder_m])
    n = len(flanks)
    left, middle, right = z[:, :n], z[:, n : n + 1], z[:, n + 1 : 2 * n + 1]
    both = (left + right) / 2 - middle
    lower = np.minimum(left, right) - middle
    shoulder = np.maximum(z[:, -2:].mean(axis=1, keepdims=True) - middle, 0)
    notch = np.where(lower >= MIN_FLANK_SHARE * both, both - shoulder * flanks / shoulder_m, np.nan)
    best = np.argmax(np.nan_to_num(notch, nan=-np.inf), axis=1)
    place = np.arange(len(best))
    depth = np.where(np.isfinite(notch), both, np.nan)
    return Relief(depth[place, best], 2 * flanks[best], notch[place, best])


def find_furrows(heights: Heights, grid: Grid, /, *, min_depth_m: float, min_length_m: float) -> Axes:
    """Narrow furrows at least this deep and long. For banks and walls, pass heights with their sign turned."""
    strip = furrow_axes(heights, grid, scale_m=LINE_SCALE_M, max_along_share=MAX_ALONG_BEND_SHARE)
    relief = relief_across(heights, grid, strip)
    # Natural ground is full of troughs; what is compared with them is the notch, not the whole depth.
    stands_out = contrast(relief.notch_m, strip, grid, reach_m=CONTRAST_REACH_M, least=LEAST_BUMP_M)
    deep = (np.nan_to_num(relief.depth_m) >= min_depth_m) & (stands_out >= MIN_AXIS_CONTRAST)
    found = relief.where(deep)
    return join_axes(
        strip.where(deep),
        found.depth_m,
        found.width_m,
        stands_out[deep],
        grid,
        bridge_m=LINE_BRIDGE_M,
        min_contrast=MIN_LINE_CONTRAST,
        min_length_m=min_length_m,
    )


def draft_gullies(heights: Heights, grid: Grid, seen: Heights, seen_grid: Grid, /) -> gpd.GeoDataFrame:
    """Gullies as lines along their bottom: 107 from the standard's depth, 108 where shallower.

    Returns
    -------
    GeoDataFrame of features with the depth as `height_m`, and `width_m`.
    """
    axes = find_furrows(heights, grid, min_depth_m=MIN_SMALL_GULLY_DEPTH_M, min_length_m=ground_m(MIN_GULLY_MM))
    is_large = axes.height_m >= MIN_GULLY_DEPTH_M
    ways = [np.asarray(line.coords) for line in axes.lines]
    return make_features(
        axes.lines,
        crs=grid.crs,
        symbol=np.where(is_large, "107", "108").tolist(),
        confidence=np.clip(mean_along(seen, seen_grid, ways), 0, 1) * line_confidence(axes),
        evidence=describe_axes(axes, "deep"),
        height_m=axes.height_m,
        width_m=axes.width_m,
    )


def line_confidence(axes: Axes, /) -> Floats:
    """(n,) 0..1: higher and longer lines are less likely to be chance."""
    lengths_m = np.array([line.length for line in axes.lines])
    tall = axes.height_m / (axes.height_m + LEAST_BUMP_M * 5)
    long = lengths_m / (lengths_m + ground_m(MIN_GULLY_MM) / 2)
    return np.asarray(tall * long, np.float64)


def describe_axes(axes: Axes, adjective: str, /) -> list[str]:
    """(n,) texts: one sentence of evidence for each."""
    return [
        f"{height:.1f} m {adjective} over {width:.0f} m across, {line.length:.0f} m long"
        for height, width, line in zip(axes.height_m, axes.width_m, axes.lines, strict=True)
    ]
