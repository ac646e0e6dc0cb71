"""Earth banks 104."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from pipeline.features import make_features
from pipeline.grid import EastNorth, Grid, Heights
from pipeline.landform.edges import Axes, Floats, Strip, contrast, join_axes, profile, step_axes
from pipeline.landform.gullies import describe_axes, line_confidence
from pipeline.landform.paper import ground_m
from pipeline.landform.seen import mean_along, sample
from pipeline.settings import LandformSettings

# The face of a bank is looked at this far to either side of its middle, the ground beyond up to the last figure.
FACES_M = (1.0, 1.5, 2.0, 2.5, 3.5)
BEYOND_M = 9.0


def height_of_step(heights: Heights, grid: Grid, strip: Strip, /) -> tuple[Floats, Floats]:
    """How much higher the face of a step is than the slope beyond it would explain, and how wide a face so steep is.

    Returns
    -------
    (n,) float64 height in metres, NaN where something is unknown or the slope goes on half as steep above or below, and
    (n,) float64 width in metres.
    """
    offsets = [*(-face for face in FACES_M), *FACES_M, -BEYOND_M, BEYOND_M]
    z = profile(heights, grid, strip, offsets)
    n = len(FACES_M)
    face = np.array(FACES_M)
    below, above, far_below, far_above = z[:, :n], z[:, n : 2 * n], z[:, -2:-1], z[:, -1:]
    rise = above - below
    reach = BEYOND_M - face
    beyond = np.maximum(far_above - above, below - far_below) / reach
    slope_beyond = np.maximum((far_above - above + below - far_below) / (2 * reach), 0)
    height = rise - slope_beyond * 2 * face
    # A slope that goes on steep on one side is a bend of the slope; contours show it.
    is_step = beyond <= 0.5 * rise / (2 * face)
    height = np.nan_to_num(np.where(is_step, height, np.nan), nan=-np.inf).max(axis=1)
    steepness = rise[:, 0] / (2 * face[0]) - slope_beyond[:, -1]
    width = height / np.maximum(steepness, 1e-6)
    return np.where(np.isfinite(height), height, np.nan), np.where(np.isfinite(height), width, np.nan)


def find_banks(heights: Heights, grid: Grid, /, *, settings: LandformSettings) -> Axes:
    """Steps in the ground at least as high and as long as the standard's bank; lines along the middle of the face.

    Faces too steep for earth are left to the rock theme, where they are cliffs.
    """
    strip = step_axes(heights, grid, scale_m=settings.line_scale_m)
    height_m, width_m = height_of_step(heights, grid, strip)
    slope_deg = np.degrees(np.arctan(height_m / width_m))
    stands_out = contrast(height_m, strip, grid, reach_m=settings.contrast_reach_m, least_m=settings.least_bump_m)
    is_face = (slope_deg >= settings.min_bank_slope_deg) & (slope_deg <= settings.steepest_bank_deg)
    high = np.nan_to_num(height_m) >= settings.min_bank_height_m
    high &= is_face & (stands_out >= settings.min_axis_contrast)
    return join_axes(
        strip.where(high),
        height_m[high],
        width_m[high],
        stands_out[high],
        grid,
        bridge_m=settings.line_bridge_m,
        min_contrast=settings.min_line_contrast,
        min_length_m=ground_m(settings.min_bank_mm),
    )


def _turned_and_moved_up(line: shapely.LineString, width_m: float, heights: Heights, grid: Grid) -> EastNorth:
    """The line with higher ground on its left, moved from the middle of the face to its upper edge."""
    places = shapely.get_coordinates(line)
    along = np.gradient(places, axis=0)
    left = np.column_stack([-along[:, 1], along[:, 0]])
    left /= np.maximum(np.hypot(left[:, 0], left[:, 1]), 1e-9)[:, None]
    reach = np.maximum(width_m / 2, grid.cell_m)
    higher = np.nanmean(sample(heights, grid, places + reach * left) - sample(heights, grid, places - reach * left))
    if higher < 0:
        places, left = places[::-1], -left[::-1]
    return np.asarray(places + width_m / 2 * left)


def draft_banks(
    heights: Heights, grid: Grid, seen: Heights, seen_grid: Grid, /, *, settings: LandformSettings
) -> gpd.GeoDataFrame:
    """Earth banks as lines along their upper edge, higher ground on the left, so that tags to the right point downhill.

    Returns
    -------
    GeoDataFrame of 104 with `height_m` and, as `width_m`, the plan extent of the face.
    """
    axes = find_banks(heights, grid, settings=settings)
    ways = [
        _turned_and_moved_up(line, width, heights, grid) for line, width in zip(axes.lines, axes.width_m, strict=True)
    ]
    return make_features(
        [shapely.LineString(way) for way in ways],
        crs=grid.crs,
        symbol="104",
        confidence=np.clip(mean_along(seen, seen_grid, ways), 0, 1) * line_confidence(axes, settings=settings),
        evidence=describe_axes(axes, "high"),
        height_m=axes.height_m,
        width_m=axes.width_m,
    )
