"""Standing water: level places where the survey got few pulses back, and what its makers classified as water."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import cast

import contourpy
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import Polygon

from pipeline.lattice.fill import nearest_known
from pipeline.lattice.grid import EastNorth, Grid, Heights, Mask
from pipeline.lattice.reach import within_reach
from pipeline.settings import WaterSettings

VOID_MAX_RATIO = 0.15
"""With less than this share, the ground is drawn from bank to bank, not seen."""
VOID_MAX_SPREAD_M = 1.0
"""Half the range of heights such a void may have: its banks, seen up to 1 m high."""
CALM_MAX_RATIO = 0.45
"""Water below the aircraft may send back this share; one swath of two sends 0.5."""
CALM_MAX_SPREAD_M = 0.05
"""Then half the range of heights is at most this: range noise, no ground is so level."""
POND_MIN_CORE_M2 = 20.0
"""Smaller thin patches are no start of a pond: a third of the smallest drawn."""
MIRROR_MAX_RATIO = 0.8
"""Straight below the aircraft water sends back more, but still less than land."""
MIRROR_TOLERANCE_M = 0.06
"""How near to the level water found must be what continues it: range noise."""
THIN_WINDOW_PULSES = 20.0
"""Usual pulses in the window in which they are counted: 20 vary by a quarter."""
LEVEL_TOLERANCE_M = 0.12
"""Ground within this of the level belongs to the water: ripples and noise."""
SHORE_MAX_RATIO = 0.55
"""Share of the usual returns at a shore: half, where half the window lies on land, and half of the little that water
sends back."""
LEVEL_MAX_SPREAD_M = 0.25
"""Half the range of heights a thin patch may have: shores drawn between returns."""
SURVEY_MOUTH_M = 20.0
"""A lake that the survey's edge cuts over less than this is still within the survey."""
SHORE_REACH_M = 3.0
"""How far beyond the thin patch the shore may lie: half the counting window and more."""
CLASS_WINDOW_M = 3.0
"""Side of the window in which returns of the water class are counted."""
CLASS_MIN_RATIO = 0.5
"""Share of them that makes a cell water, as the survey says: most, as at an edge."""
BANK_FROM_M = 2.0
"""The ground around water is looked at from this far beyond the shore: past its blur."""
BANK_TO_M = 4.0
"""And up to here: near enough to be the bank and not the slope behind it."""
POND_CLOSE_M = 1.0
"""Radius of the gaps in water that are closed: stray returns from waves and reed."""
POND_MIN_AREA_M2 = 64.0
"""Smallest standing water drawn as an area: 8 m x 8 m (ISOM 2017-2, 302)."""
POND_MIN_WIDTH_M = 4.5
"""Narrower water is no area: 0.3 mm at 1:15 000 (ISOM 2017-2, 302)."""


@dataclass(frozen=True)
class Water:
    """A body of water and what speaks for it.

    Attributes
    ----------
    shape : Polygon in the working CRS
    level_m : float
        Elevation of the surface.
    spread_m : float
        Half the interquartile range of the bare earth within.
    bank_m : float
        Median height of the ground just beyond the shore above the surface.
    thinness : float, 0..1
        Last returns a square metre within, over those of the survey.
    classed_share : float, 0..1
        Share of the surface that the survey's own classes call water.
    """

    shape: Polygon
    level_m: float
    spread_m: float
    bank_m: float
    thinness: float
    classed_share: float


def standing_water(
    bare_earth: Heights,
    water_returns: Heights,
    last_returns: Heights,
    ground_support: Heights,
    grid: Grid,
    /,
    *,
    settings: WaterSettings,
) -> list[Water]:
    """Ponds and lakes, largest first.

    A smooth surface of water sends pulses away unless they fall on it steeply, so water is thin in returns; and it is
    level. Either the survey's own water class or both signs together are asked for. Fresh asphalt and dark flat roofs
    look the same, so each body stays a proposal.

    Parameters
    ----------
    water_returns, last_returns : (rows, cols) float32
        Counts of returns of class 9 and of last returns; a survey without returns at all is not water.
    """
    classed = _classed(water_returns, last_returns, grid.cell_m)
    density = _density(last_returns, ground_support, grid.cell_m)
    inside = _inside_survey(last_returns, grid.cell_m)
    levels = _thin_and_level(bare_earth, density, inside, grid.cell_m, settings=settings)
    surface = _tidied(classed | levels, grid.cell_m)
    labels, _ = ndimage.label(surface)
    bodies: list[Water] = []
    for number, box in enumerate(ndimage.find_objects(labels), start=1):
        window = _widened((box[0], box[1]), 6.0, grid)
        body = labels[window] == number
        if body.sum() * grid.cell_m**2 < POND_MIN_AREA_M2:
            continue
        thinness = float(density[window][body].mean())
        judged = _judge(body, bare_earth[window], classed[window], thinness, grid, window)
        bodies += [judged] if judged.shape.area >= POND_MIN_AREA_M2 else []
    return sorted(bodies, key=lambda body: (-body.shape.area, body.shape.bounds))


def _cells(length_m: float, cell_m: float) -> int:
    """The odd number of cells nearest to a length, at least 1."""
    return max(1, 2 * round((length_m / cell_m - 1) / 2) + 1)


def _disc(radius_m: float, cell_m: float) -> Mask:
    n = max(1, round(radius_m / cell_m))
    y, x = np.ogrid[-n : n + 1, -n : n + 1]
    disc: Mask = x**2 + y**2 <= n**2
    return disc


def _classed(water: Heights, last: Heights, cell_m: float, /) -> Mask:
    """Cells around which enough of the last returns are of the water class."""
    size = _cells(CLASS_WINDOW_M, cell_m)
    share = ndimage.uniform_filter(water, size, mode="constant") / np.maximum(
        ndimage.uniform_filter(last, size, mode="constant"), 1e-6
    )
    classed: Mask = (share >= CLASS_MIN_RATIO) & (ndimage.uniform_filter(water, size, mode="constant") > 1e-6)
    return classed


def _density(last: Heights, ground_support: Heights, cell_m: float, /) -> NDArray[np.float32]:
    """Last returns around each cell as a share of the survey's usual number (median of where it has ground).

    The window holds about `thin_window_pulses` at the usual density: fewer, and chance alone makes thin places.
    """
    seen = ground_support < 2 * cell_m
    per_m2 = float(last[seen].mean()) / cell_m**2 if seen.any() else 0.0
    if per_m2 <= 0:
        return np.ones(last.shape, np.float32)
    size = _cells(math.sqrt(THIN_WINDOW_PULSES / per_m2), cell_m)
    density = ndimage.uniform_filter(last.astype(np.float32), size, mode="nearest")
    share: NDArray[np.float32] = density / max(float(np.median(density[seen])), 1e-6)
    return share


def _inside_survey(last: Heights, cell_m: float, /) -> Mask:
    """What the survey covered: its returns with all gaps closed that returns surround.

    A gap that opens to the outside through a mouth narrower than `survey_mouth_m` counts as surrounded.
    """
    reach_m = SURVEY_MOUTH_M / 2
    rim = math.ceil(reach_m / cell_m) + 2
    met = np.pad(last > 0, rim)
    far = ~within_reach(met, reach_m=reach_m, cell_m=cell_m)
    joined = ~within_reach(far, reach_m=reach_m, cell_m=cell_m)
    inside: Mask = ndimage.binary_fill_holes(joined | met)[rim:-rim, rim:-rim]
    return inside


def _thin_and_level(
    bare_earth: Heights, density: NDArray[np.float32], inside: Mask, cell_m: float, /, *, settings: WaterSettings
) -> Mask:
    """Patches with few returns whose ground is level, out to where returns come back or the ground rises.

    `density` is in shares of the usual. The more pulses came back, the more level the ground has to be.
    """
    found = np.zeros(density.shape, bool)
    grades = (
        (settings.thin_max_ratio, LEVEL_MAX_SPREAD_M),
        (CALM_MAX_RATIO, CALM_MAX_SPREAD_M),
    )
    for max_ratio, max_spread_m in grades:
        core = inside & (density < max_ratio) & ~found
        core = ndimage.binary_opening(core, _disc(POND_MIN_WIDTH_M / 2, cell_m))
        labels, _ = ndimage.label(core)
        margin = _disc(SHORE_REACH_M, cell_m).shape[0]
        for number, box in enumerate(ndimage.find_objects(labels), start=1):
            if np.count_nonzero(labels[box] == number) * cell_m**2 < POND_MIN_CORE_M2:
                continue
            window = tuple(slice(max(0, s.start - margin), s.stop + margin) for s in box)
            found[window] |= _grown(
                labels[window] == number,
                bare_earth[window],
                np.where(inside[window], density[window], np.inf),
                cell_m,
                max_spread_m,
            )
    return found | _mirrors(bare_earth, found, inside & (density < MIRROR_MAX_RATIO))


def _grown(body: Mask, heights: Heights, density: NDArray[np.float32], cell_m: float, max_spread_m: float, /) -> Mask:
    """A thin patch out to its shore, or nothing where it is not level.

    Where hardly anything came back the bare earth is drawn from bank to bank, so it may be less level there, and it
    says nothing about where the water ends.
    """
    level, spread = _level_of(heights[body])
    is_void = float(density[body].mean()) < VOID_MAX_RATIO
    if spread > (max(VOID_MAX_SPREAD_M, max_spread_m) if is_void else max_spread_m):
        return np.zeros(body.shape, bool)
    tolerance_m = max(LEVEL_TOLERANCE_M, 2 * spread)
    is_level = (np.abs(heights - level) <= tolerance_m) | (density < VOID_MAX_RATIO)
    near = ndimage.binary_dilation(body, _disc(SHORE_REACH_M, cell_m))
    at_level = near & is_level & (density < SHORE_MAX_RATIO)
    grown: Mask = ndimage.binary_propagation(body & at_level, mask=at_level)
    return grown


def _mirrors(bare_earth: Heights, found: Mask, thinned: Mask, /) -> Mask:
    """What continues a level body at its very level where more pulses come back: water straight below the aircraft."""
    labels, count = ndimage.label(found)
    if count == 0:
        return found
    levels = np.array([_level_of(bare_earth[labels == number])[0] for number in range(1, count + 1)])
    level = levels[labels[nearest_known(found)] - 1]
    as_level = thinned & (np.abs(bare_earth - level) <= MIRROR_TOLERANCE_M)
    as_level = ndimage.binary_opening(as_level, np.ones((3, 3), bool))
    grown: Mask = ndimage.binary_propagation(found, mask=as_level | found)
    return grown


def _level_of(heights: NDArray[np.float32]) -> tuple[float, float]:
    """Level of a patch and half the range between its 10th and 90th percentile; infinite spread without heights.

    The level is the lower quartile: near the shore the ground between returns is drawn up towards the bank.
    """
    known = heights[np.isfinite(heights)]
    if len(known) < 4:
        return math.nan, math.inf
    low, quarter, high = np.percentile(known, [10, 25, 90])
    return float(quarter), float(high - low) / 2


def _tidied(surface: Mask, cell_m: float, /) -> Mask:
    """Water wide enough to be drawn, without islands too small to be."""
    disc = _disc(POND_CLOSE_M, cell_m)
    # Room for the disc beyond the rim: without it closing would eat what touches the edge.
    reach = disc.shape[0]
    closed = ndimage.binary_closing(np.pad(surface, reach), disc)[reach:-reach, reach:-reach]
    opened = ndimage.binary_opening(closed, _disc(POND_MIN_WIDTH_M / 2, cell_m))
    holes, _ = ndimage.label(ndimage.binary_fill_holes(opened) & ~opened)
    size = np.bincount(holes.ravel())
    is_small = size * cell_m**2 < POND_MIN_AREA_M2
    is_small[0] = False
    tidy: Mask = opened | is_small[holes]
    return tidy


def _widened(box: tuple[slice, slice], margin_m: float, grid: Grid) -> tuple[slice, slice]:
    n = math.ceil(margin_m / grid.cell_m)
    rows, cols = box
    return slice(max(0, rows.start - n), rows.stop + n), slice(max(0, cols.start - n), cols.stop + n)


def _judge(
    body: Mask, bare_earth: Heights, classed: Mask, thinness: float, grid: Grid, window: tuple[slice, slice], /
) -> Water:
    """A body of water with its outline and its evidence."""
    level, _ = _level_of(bare_earth[body])
    known = bare_earth[body & np.isfinite(bare_earth)]
    spread = float(np.subtract(*np.percentile(known, [75, 25]))) / 2 if len(known) else math.nan
    inner, outer = (ndimage.binary_dilation(body, _disc(reach_m, grid.cell_m)) for reach_m in (BANK_FROM_M, BANK_TO_M))
    banks = bare_earth[outer & ~inner & np.isfinite(bare_earth)]
    bank = float(np.median(banks)) - level if len(banks) and math.isfinite(level) else math.nan
    return Water(_outline(body, grid, window), level, spread, bank, thinness, float(classed[body].mean()))


def _outline(body: Mask, grid: Grid, window: tuple[slice, slice]) -> Polygon:
    """The shore as a smooth line through the cells' edges; islands stay out."""
    soft = ndimage.gaussian_filter(np.pad(body, 3).astype(np.float32), 1.0)
    east = (np.arange(soft.shape[1]) + grid.west_col + window[1].start - 3 + 0.5) * grid.cell_m
    north = (grid.north_row - window[0].start + 3 - np.arange(soft.shape[0]) - 0.5) * grid.cell_m
    lines = contourpy.contour_generator(east, north, soft, fill_type=contourpy.FillType.OuterOffset)
    points, offsets = cast("tuple[list[EastNorth], list[NDArray[np.uint32]]]", lines.filled(0.5, np.inf))
    shapes = []
    for ring, at in zip(points, offsets, strict=True):
        rings = [ring[a:b] for a, b in itertools.pairwise(at)]
        shapes.append(Polygon(rings[0], rings[1:]))
    whole = shapely.simplify(shapely.union_all(shapes), 0.25 * grid.cell_m)
    parts = [part for part in shapely.get_parts(whole) if isinstance(part, Polygon)]
    return max(parts, key=lambda part: part.area, default=Polygon())
