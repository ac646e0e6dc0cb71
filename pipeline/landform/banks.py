"""Earth banks 104."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from pipeline.features import make_features
from pipeline.grid import EastNorth, Grid, Heights, Mask
from pipeline.landform.edges import Axes, Floats, Strip, contrast, join_axes, profile, step_axes
from pipeline.landform.gullies import describe_axes, line_confidence
from pipeline.landform.paper import ground_m
from pipeline.landform.seen import mean_along, sample
from pipeline.settings import LandformSettings


@dataclass(frozen=True)
class Step:
    """What lies across a step, one array a column; NaN where something is unknown or the slope goes on too steep.

    Attributes
    ----------
    height_m : (n,) float64
        How much higher the face is than the slope beyond it would explain.
    width_m : (n,) float64
        How wide a face of its steepness is.
    sharpness : (n,) float64
        Rise over run of the middle of the face less that of the steeper ground beyond.
    """

    height_m: Floats
    width_m: Floats
    sharpness: Floats

    def where(self, chosen: Mask, /) -> Step:
        """The chosen places."""
        return Step(self.height_m[chosen], self.width_m[chosen], self.sharpness[chosen])


def step_across(heights: Heights, grid: Grid, strip: Strip, /, *, settings: LandformSettings) -> Step:
    """Height, width and sharpness of the step at each place.

    Where the ground above or below is too steep beside the face (`max_bank_beyond_share`) it is no step but a bend of
    the slope, which contours show.
    """
    face, beyond_m = np.array(settings.bank_faces_m), settings.bank_beyond_m
    z = profile(heights, grid, strip, [*-face, *face, -beyond_m, beyond_m])
    n = len(face)
    below, above, far_below, far_above = z[:, :n], z[:, n : 2 * n], z[:, -2:-1], z[:, -1:]
    rise = above - below
    up, down = (far_above - above) / (beyond_m - face), (below - far_below) / (beyond_m - face)
    slope_beyond = np.maximum((up + down) / 2, 0)
    is_step = np.maximum(up, down) <= settings.max_bank_beyond_share * rise / (2 * face)
    height = np.nan_to_num(np.where(is_step, rise - slope_beyond * 2 * face, np.nan), nan=-np.inf).max(axis=1)
    height = np.where(np.isfinite(height), height, np.nan)
    middle_rise = rise[:, 0] / (2 * face[0])
    width = height / np.maximum(middle_rise - slope_beyond[:, -1], 1e-6)
    sharpness = middle_rise - np.maximum(np.maximum(up, down)[:, -1], 0)
    return Step(height, width, np.where(np.isfinite(height), sharpness, np.nan))


def find_banks(heights: Heights, grid: Grid, /, *, taken: shapely.Geometry, settings: LandformSettings) -> Axes:
    """Steps in the ground at least as high and as long as the standard's bank; lines along the middle of the face.

    Faces too steep for earth are left to the rock theme, where they are cliffs; wide ones are slopes, which contours
    show. A face counts where it is sharper than the bends of the ground round about.

    Parameters
    ----------
    taken
        Where steps are the sides of other landforms: knolls, hollows, gullies.
    """
    strip = step_axes(heights, grid, scale_m=settings.line_scale_m)
    step = step_across(heights, grid, strip, settings=settings)
    # Ground that bends nowhere counts as such: a lone bank is compared with it and not with itself.
    bends = np.maximum(np.nan_to_num(step.sharpness), 0)
    stands_out = contrast(bends, strip, grid, reach_m=settings.contrast_reach_m, least=settings.least_face_rise)
    slope_deg = np.degrees(np.arctan(step.height_m / step.width_m))
    is_face = (slope_deg >= settings.min_bank_slope_deg) & (slope_deg <= settings.steepest_bank_deg)
    is_face &= (step.height_m >= settings.min_bank_height_m) & (step.width_m <= settings.max_bank_face_m)
    is_bank = is_face & (stands_out >= settings.min_face_contrast)
    east, north = grid.centres()
    shapely.prepare(taken)
    is_bank[is_bank] = ~shapely.intersects_xy(taken, east[strip.col[is_bank]], north[strip.row[is_bank]])
    found = step.where(is_bank)
    return join_axes(
        strip.where(is_bank),
        found.height_m,
        found.width_m,
        stands_out[is_bank],
        grid,
        bridge_m=settings.line_bridge_m,
        min_contrast=settings.min_bank_contrast,
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
    heights: Heights,
    grid: Grid,
    seen: Heights,
    seen_grid: Grid,
    others: gpd.GeoDataFrame,
    /,
    *,
    settings: LandformSettings,
) -> gpd.GeoDataFrame:
    """Earth banks as lines along their upper edge, higher ground on the left, so that tags to the right point downhill.

    Parameters
    ----------
    others : GeoDataFrame
        Knolls, hollows and gullies with `width_m`: their sides are no banks.

    Returns
    -------
    GeoDataFrame of 104 with `height_m` and, as `width_m`, the plan extent of the face.
    """
    taken = shapely.union_all(shapely.buffer(others.geometry, settings.side_share * others["width_m"] / 2))
    axes = find_banks(heights, grid, taken=taken, settings=settings)
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
