"""Earth banks 104."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from pipeline.features import make_features
from pipeline.landform.shapes.edges import Axes, Floats, Strip, contrast, join_axes, profile, step_axes
from pipeline.landform.shapes.gullies import (
    CONTRAST_REACH_M,
    LINE_BRIDGE_M,
    LINE_SCALE_M,
    describe_axes,
    line_confidence,
)
from pipeline.lattice.grid import EastNorth, Grid, Heights, Mask
from pipeline.lattice.sampling import mean_along, sample
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom
from pipeline.settings import LandformSettings

MIN_BANK_HEIGHT_M = isom("104").smallest.height_m
"""Lowest earth bank (ISOM 104)."""
MIN_BANK_MM = 1.0
"""Shortest earth bank: ISOM 104 allows 0.6, shorter than 15 m is often chance."""
MAX_BANK_FACE_M = 4.5
"""Widest face of a bank on the ground, the smallest bend of a contour: wider ones contours show."""
BANK_FACES_M = (1.0, 1.5, 2.0, 2.5, 3.5)
"""Distances from the middle of a face at which it is looked at: faces 2 to 7 m wide."""
BANK_BEYOND_M = 9.0
"""Distance up to which the ground above and below a face is looked at: past the widest face, on its slope."""
MAX_BANK_BEYOND_SHARE = 0.65
"""Steepness of the ground beside a bank over that of its face, above which it is a bend of the slope."""
LEAST_FACE_RISE = 0.1
"""Rise over run by which even ground bends: 1 in 10 (common practice)."""
MIN_FACE_CONTRAST = 1.5
"""Times the usual sharpness of bends round about that the face of a bank must have."""
MIN_BANK_CONTRAST = 3.5
"""The same for a whole bank of the least length; longer ones need less."""
SIDE_SHARE = 1.3
"""Share of a knoll, hollow or gully, from its middle, within which a step is its side."""
STEEPEST_BANK_DEG = 50.0
"""Steeper faces are rock (202); earth holds 50 degrees with roots in it at most."""


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


def step_across(heights: Heights, grid: Grid, strip: Strip, /) -> Step:
    """Height, width and sharpness of the step at each place.

    Where the ground above or below is too steep beside the face (`max_bank_beyond_share`) it is no step but a bend of
    the slope, which contours show.
    """
    face, beyond_m = np.array(BANK_FACES_M), BANK_BEYOND_M
    z = profile(heights, grid, strip, [*-face, *face, -beyond_m, beyond_m])
    n = len(face)
    below, above, far_below, far_above = z[:, :n], z[:, n : 2 * n], z[:, -2:-1], z[:, -1:]
    rise = above - below
    up, down = (far_above - above) / (beyond_m - face), (below - far_below) / (beyond_m - face)
    slope_beyond = np.maximum((up + down) / 2, 0)
    is_step = np.maximum(up, down) <= MAX_BANK_BEYOND_SHARE * rise / (2 * face)
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
    strip = step_axes(heights, grid, scale_m=LINE_SCALE_M)
    step = step_across(heights, grid, strip)
    # Ground that bends nowhere counts as such: a lone bank is compared with it and not with itself.
    bends = np.maximum(np.nan_to_num(step.sharpness), 0)
    stands_out = contrast(bends, strip, grid, reach_m=CONTRAST_REACH_M, least=LEAST_FACE_RISE)
    slope_deg = np.degrees(np.arctan(step.height_m / step.width_m))
    is_face = (slope_deg >= settings.min_bank_slope_deg) & (slope_deg <= STEEPEST_BANK_DEG)
    is_face &= (step.height_m >= MIN_BANK_HEIGHT_M) & (step.width_m <= MAX_BANK_FACE_M)
    is_bank = is_face & (stands_out >= MIN_FACE_CONTRAST)
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
        bridge_m=LINE_BRIDGE_M,
        min_contrast=MIN_BANK_CONTRAST,
        min_length_m=ground_m(MIN_BANK_MM),
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
    taken = shapely.union_all(shapely.buffer(others.geometry, SIDE_SHARE * others["width_m"] / 2))
    axes = find_banks(heights, grid, taken=taken, settings=settings)
    ways = [
        _turned_and_moved_up(line, width, heights, grid) for line, width in zip(axes.lines, axes.width_m, strict=True)
    ]
    return make_features(
        [shapely.LineString(way) for way in ways],
        crs=grid.crs,
        symbol="104",
        confidence=np.clip(mean_along(seen, seen_grid, ways), 0, 1) * line_confidence(axes),
        evidence=describe_axes(axes, "high"),
        height_m=axes.height_m,
        width_m=axes.width_m,
    )
