"""Earth banks 104."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from scipy import ndimage

from pipeline.landform.shapes.edges import (
    STRETCH_M,
    Axes,
    Floats,
    Strip,
    contrast,
    draw_axes,
    join_axes,
    profile,
    step_axes,
)
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.sampling import sample
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom


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


FACES_M = (1.0, 1.5, 2.0, 2.5, 3.5)
"""Distances from the middle of a face at which the ground is looked at: faces 2 to 7 m wide (our choice)."""
BEYOND_M = 9.0
"""Distance from the middle of a face at which the slope above and below it is looked at, well past the widest face (our
choice)."""
MAX_BEYOND_SHARE = 0.65
"""Steepness of the ground beside a face, as a share of the face's own, above which the face is no step but a bend of
the slope, which contours show (our choice)."""


def step_across(heights: Heights, grid: Grid, strip: Strip, /) -> Step:
    """Height, width and sharpness of the step at each place.

    Where the ground above or below is nearly as steep as the face there is no step but a bend of the slope.
    """
    face = np.array(FACES_M)
    z = profile(heights, grid, strip, [*-face, *face, -BEYOND_M, BEYOND_M])
    n = len(face)
    below, above, far_below, far_above = z[:, :n], z[:, n : 2 * n], z[:, -2:-1], z[:, -1:]
    rise = above - below
    up, down = (far_above - above) / (BEYOND_M - face), (below - far_below) / (BEYOND_M - face)
    slope_beyond = np.maximum((up + down) / 2, 0)
    is_step = np.maximum(up, down) <= MAX_BEYOND_SHARE * rise / (2 * face)
    height = np.nan_to_num(np.where(is_step, rise - slope_beyond * 2 * face, np.nan), nan=-np.inf).max(axis=1)
    height = np.where(np.isfinite(height), height, np.nan)
    middle_rise = rise[:, 0] / (2 * face[0])
    width = height / np.maximum(middle_rise - slope_beyond[:, -1], 1e-6)
    sharpness = middle_rise - np.maximum(np.maximum(up, down)[:, -1], 0)
    return Step(height, width, np.where(np.isfinite(height), sharpness, np.nan))


STEEPEST_BANK_DEG = 50.0
"""Steeper faces are rock (202): earth holds 50 degrees at most, with roots in it (common practice, no source)."""
MAX_FACE_WIDTH_M = 4.5
"""Widest face of a bank, a little more than the smallest bend of a contour: contours show wider ones (our choice)."""
LEAST_FACE_RISE = 0.1
"""Rise over run by which even ground bends, 1 in 10. Ground that bends less counts as bending this much, so that a
slight step in a field is no bank (our choice)."""
MIN_FACE_CONTRAST = 1.5
"""How many times sharper than the usual bends round about each place on a face must be (our choice)."""
MIN_BANK_CONTRAST = 3.5
"""How many times sharper than the usual bends round about a whole bank of the least length must be; longer ones need
less (our choice)."""
BANK_BRIDGE_M = 2.6
"""Longest gap in a bank that is drawn across: less than the middles of the two sides of a sunken lane lie apart, some
5 m, so that they stay two (our choice)."""
MIN_BANK_MM = 1.0
"""Shortest bank that is drawn, on the map. The norm allows 0.6 mm (ISOM 104), but lines shorter than 15 m are often
chance in lidar (our choice)."""


def find_banks(heights: Heights, grid: Grid, /, *, taken: shapely.Geometry, min_slope_deg: float) -> Axes:
    """Steps in the ground at least as high as the norm's bank; lines along the middle of the face.

    Faces too steep for earth are left to the rock theme, where they are cliffs; wide ones are slopes, which contours
    show. A face counts where it is sharper than the bends of the ground round about.

    Parameters
    ----------
    taken
        Where steps are the sides of other landforms: knolls, hollows, gullies.
    min_slope_deg : float
        Gentlest face of a bank.
    """
    strip = step_axes(heights, grid)
    step = step_across(heights, grid, strip)
    # Ground that bends nowhere counts as such: a lone bank is compared with it and not with itself.
    bends = np.maximum(np.nan_to_num(step.sharpness), 0)
    stands_out = contrast(bends, strip, grid, least=LEAST_FACE_RISE)
    slope_deg = np.degrees(np.arctan(step.height_m / step.width_m))
    is_face = (slope_deg >= min_slope_deg) & (slope_deg <= STEEPEST_BANK_DEG)
    is_face &= (step.height_m >= isom("104").smallest.height_m) & (step.width_m <= MAX_FACE_WIDTH_M)
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
        min_contrast=MIN_BANK_CONTRAST,
        min_length_m=ground_m(MIN_BANK_MM),
        bridge_m=BANK_BRIDGE_M,
    )


def _turned_and_moved_up(axes: Axes, heights: Heights, grid: Grid) -> Axes:
    """The lines with higher ground on their left, moved from the middle of the face to its upper edge.

    Which side is higher is taken, like the width, from the stretch of line around each vertex; a line whose sides
    change is cut there.
    """
    turned = Axes([], [], [])
    reach = round(STRETCH_M / grid.cell_m / 2**0.5)
    for places, height_m, width_m in zip(axes.lines, axes.height_m, axes.width_m, strict=True):
        along = np.gradient(places, axis=0)
        left = np.column_stack([-along[:, 1], along[:, 0]])
        left /= np.maximum(np.hypot(left[:, 0], left[:, 1]), 1e-9)[:, None]
        aside = np.maximum(width_m / 2, grid.cell_m)[:, None] * left
        higher = np.nan_to_num(sample(heights, grid, places + aside) - sample(heights, grid, places - aside))
        is_left = ndimage.median_filter(higher, size=2 * reach + 1, mode="reflect") >= 0
        edges = [0, *(np.flatnonzero(np.diff(is_left)) + 1), len(places)]
        for first, last in itertools.pairwise(edges):
            if last - first < 2:
                continue
            side = 1 if is_left[first] else -1
            way = slice(first, last)
            moved = np.round(places[way] + side * (width_m[way] / 2)[:, None] * left[way], 3)
            turned.lines.append(moved[::side])
            turned.height_m.append(height_m[way][::side])
            turned.width_m.append(width_m[way][::side])
    return turned


SIDE_SHARE = 1.3
"""How far the sides of a knoll, hollow or gully reach from its middle, as a share of half its width: steps within are
no banks (our choice)."""


def draft_banks(
    heights: Heights,
    grid: Grid,
    seen: Heights,
    seen_grid: Grid,
    others: gpd.GeoDataFrame,
    /,
    *,
    min_slope_deg: float,
) -> gpd.GeoDataFrame:
    """Earth banks as lines along their upper edge, higher ground on the left, so that tags to the right point downhill.

    Parameters
    ----------
    others : GeoDataFrame
        Knolls, hollows and gullies with `width_m`: their sides are no banks.
    min_slope_deg : float
        Gentlest face of a bank.

    Returns
    -------
    GeoDataFrame of pieces of 104 (`pipeline.landform.lines.line_pieces`) with sums of the height and, as width, the
    plan extent of the face.
    """
    taken = shapely.union_all(shapely.buffer(others.geometry, SIDE_SHARE * others["width_m"] / 2))
    axes = find_banks(heights, grid, taken=taken, min_slope_deg=min_slope_deg)
    return draw_axes(_turned_and_moved_up(axes, heights, grid), seen, seen_grid, crs=grid.crs, symbol="104")
