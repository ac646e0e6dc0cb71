"""Erosion gullies 107 and small erosion gullies 108."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np

from pipeline.features import make_features
from pipeline.grid import Grid, Heights, Mask
from pipeline.landform.edges import Axes, Floats, Strip, contrast, furrow_axes, join_axes, profile
from pipeline.landform.paper import ground_m
from pipeline.landform.seen import mean_along
from pipeline.settings import LandformSettings


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


def relief_across(heights: Heights, grid: Grid, strip: Strip, /, *, settings: LandformSettings) -> Relief:
    """How far the axis lies below both flanks, where it cuts deepest into the ground around.

    The mean of the two flanks takes out the slope across; the lower flank alone must still stand `min_flank_share` as
    high, else the axis is the foot of a step. A trough that goes on deepening evenly towards the shoulders is a valley;
    a gully is a notch, deeper near its axis than the line from the axis to the shoulders.
    """
    flanks, shoulder_m = np.array(settings.line_flanks_m), settings.line_shoulder_m
    z = profile(heights, grid, strip, [*-flanks, 0.0, *flanks, -shoulder_m, shoulder_m])
    n = len(flanks)
    left, middle, right = z[:, :n], z[:, n : n + 1], z[:, n + 1 : 2 * n + 1]
    both = (left + right) / 2 - middle
    lower = np.minimum(left, right) - middle
    shoulder = np.maximum(z[:, -2:].mean(axis=1, keepdims=True) - middle, 0)
    notch = np.where(lower >= settings.min_flank_share * both, both - shoulder * flanks / shoulder_m, np.nan)
    best = np.argmax(np.nan_to_num(notch, nan=-np.inf), axis=1)
    place = np.arange(len(best))
    depth = np.where(np.isfinite(notch), both, np.nan)
    return Relief(depth[place, best], 2 * flanks[best], notch[place, best])


def find_furrows(
    heights: Heights, grid: Grid, /, *, min_depth_m: float, min_length_m: float, settings: LandformSettings
) -> Axes:
    """Narrow furrows at least this deep and long. For banks and walls, pass heights with their sign turned."""
    strip = furrow_axes(heights, grid, scale_m=settings.line_scale_m, max_along_share=settings.max_along_bend_share)
    relief = relief_across(heights, grid, strip, settings=settings)
    # Natural ground is full of troughs; what is compared with them is the notch, not the whole depth.
    stands_out = contrast(relief.notch_m, strip, grid, reach_m=settings.contrast_reach_m, least=settings.least_bump_m)
    deep = (np.nan_to_num(relief.depth_m) >= min_depth_m) & (stands_out >= settings.min_axis_contrast)
    found = relief.where(deep)
    return join_axes(
        strip.where(deep),
        found.depth_m,
        found.width_m,
        stands_out[deep],
        grid,
        bridge_m=settings.line_bridge_m,
        min_contrast=settings.min_line_contrast,
        min_length_m=min_length_m,
    )


def draft_gullies(
    heights: Heights, grid: Grid, seen: Heights, seen_grid: Grid, /, *, settings: LandformSettings
) -> gpd.GeoDataFrame:
    """Gullies as lines along their bottom: 107 from the standard's depth, 108 where shallower.

    Returns
    -------
    GeoDataFrame of features with the depth as `height_m`, and `width_m`.
    """
    axes = find_furrows(
        heights,
        grid,
        min_depth_m=settings.min_small_gully_depth_m,
        min_length_m=ground_m(settings.min_gully_mm),
        settings=settings,
    )
    is_large = axes.height_m >= settings.min_gully_depth_m
    ways = [np.asarray(line.coords) for line in axes.lines]
    return make_features(
        axes.lines,
        crs=grid.crs,
        symbol=np.where(is_large, "107", "108").tolist(),
        confidence=np.clip(mean_along(seen, seen_grid, ways), 0, 1) * line_confidence(axes, settings=settings),
        evidence=describe_axes(axes, "deep"),
        height_m=axes.height_m,
        width_m=axes.width_m,
    )


def line_confidence(axes: Axes, /, *, settings: LandformSettings) -> Floats:
    """(n,) 0..1: higher and longer lines are less likely to be chance."""
    lengths_m = np.array([line.length for line in axes.lines])
    tall = axes.height_m / (axes.height_m + settings.least_bump_m * 5)
    long = lengths_m / (lengths_m + ground_m(settings.min_gully_mm) / 2)
    return np.asarray(tall * long, np.float64)


def describe_axes(axes: Axes, adjective: str, /) -> list[str]:
    """(n,) texts: one sentence of evidence for each."""
    return [
        f"{height:.1f} m {adjective} over {width:.0f} m across, {line.length:.0f} m long"
        for height, width, line in zip(axes.height_m, axes.width_m, axes.lines, strict=True)
    ]
