"""Stony ground 210 to 212 from the roughness of the bare earth, and rocky pits 203.1 from steep little hollows.

Roughness says where stony ground is drawn; how bright the ground is only says how far that is believed.
"""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize, shapes
from scipy import ndimage
from skimage.morphology import reconstruction

from pipeline.features import make_features, no_features
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.means import Known, square_window
from pipeline.lattice.windows import highest_around, lowest_around
from pipeline.norm.symbols import isom
from pipeline.rock.ground.brightness import Brightness
from pipeline.settings import RockSettings

STONY_WINDOW_M = 4.0
"""Ground over which roughness is taken: a few strides of a runner."""
STONY_WALK_M = 0.4
"""The same for 211 (common practice, no source)."""
STONY_FIGHT_M = 0.5
"""The same for 212 (common practice, no source)."""
STONY_MIN_AREA_M2 = 225.0
"""Smallest stony area; ISOM 2017-2 asks for three dots, about 10 by 10 m."""
STONY_MOST_DEPARTURE_M = 0.6
"""No place counts as rougher than this: larger departures are boulders, steps or banks, which are drawn on their
own."""
STONY_CONFIDENCE = 0.35
"""Roughness cannot tell stones from roots, ruts and undergrowth taken for ground."""
STONY_DARK_CONFIDENCE = 0.5
"""The same where rough ground is also as dark as bare rock and nothing grows on it: stone is likelier than
undergrowth (common practice, no source)."""
STONY_BRIGHT_CONFIDENCE = 0.25
"""The same where rough ground is as bright as vegetated ground (common practice, no source)."""
ROCKY_PIT_MIN_DEPTH_M = isom("203.1").smallest.height_m
"""ISOM 2017-2, 203.1."""
ROCKY_PIT_HOLLOW_M = 0.3
"""Water up to here stands in any uneven ground; what is deeper is one hollow."""
ROCKY_PIT_MIN_WIDTH_M = 1.5
"""One stray low return makes a funnel about as wide as the returns lie apart."""
ROCKY_PIT_MAX_WIDTH_M = 5.0
"""ISOM 2017-2, 203.1: larger ones are cliffs."""
ROCKY_PIT_MIN_SLOPE_DEG = 60.0
"""Walls steeper than earth stands: loose soil lies at 30 to 40 degrees."""
ROCKY_PIT_CONFIDENCE = 0.4
"""A steep little hollow may be an earth pit 112."""

Floats = NDArray[np.float64]


def roughness(bare_earth: Heights, ground_support: Heights, grid: Grid, /) -> Floats:
    """How much the ground undulates over a few metres: rms height over its own smoothing, in metres.

    Parameters
    ----------
    bare_earth, ground_support : (rows, cols) float32, metres
        Places farther than two cells from a ground return are bridged, not seen, and count as unknown.

    Returns
    -------
    (rows, cols) float64; NaN where less than half of the window is seen.
    """
    seen = np.isfinite(bare_earth) & (ground_support <= 2 * grid.cell_m)
    heights = np.where(np.isfinite(bare_earth), bare_earth, np.nanmean(bare_earth) if seen.any() else 0.0)
    window_m, most_m = STONY_WINDOW_M, STONY_MOST_DEPARTURE_M
    sigma = 0.5 * window_m / grid.cell_m
    left = heights.astype(np.float64) - ndimage.gaussian_filter(heights.astype(np.float64), sigma)
    # The upward half of a step or a gully edge is not stone: each place counts for at most the cap.
    square = np.minimum(left**2, most_m**2)
    known = Known.of(seen, square_window(max(3, 2 * round(window_m / grid.cell_m) + 1), rim="reflect"))
    return np.where(known.share > 0.5, np.sqrt(np.clip(known.mean(square), 0, None)), np.nan)


UNTOLD = "roughness alone: intensity says nothing here"


def find_stony_ground(
    bare_earth: Heights,
    ground_support: Heights,
    grid: Grid,
    /,
    *,
    brightness: Brightness | None = None,
    settings: RockSettings,
) -> gpd.GeoDataFrame:
    """Areas 210, 211 and 212 where the ground is rough enough to slow a runner.

    Confidence stays low: roots, ruts and poorly filtered undergrowth are as rough, and only a visit tells. Ground that
    is dark and bare as well is believed more, ground as bright as plants less.
    """
    rough = np.nan_to_num(roughness(bare_earth, ground_support, grid))
    # The middle of the 25 cells around is rough where at least 13 of them are.
    n_rough = 25 * ndimage.uniform_filter((rough >= settings.stony_slow_m).astype(np.float32), 5)
    mask = (n_rough > 12.5).astype(np.uint8)
    outlines = [shapely.geometry.shape(outline) for outline, _ in shapes(mask, mask=mask > 0, transform=grid.transform)]
    # A single step or gully edge is rough along a strip about two windows wide; stony ground is wide both ways.
    strip_m = 1.25 * STONY_WINDOW_M
    wide = [part for area in outlines for part in shapely.get_parts(area.buffer(-strip_m).buffer(strip_m))]
    areas = [area.simplify(grid.cell_m).buffer(0) for area in wide if area.area >= STONY_MIN_AREA_M2]
    if not areas:
        return no_features(grid.crs)
    owners = rasterize(zip(areas, range(1, len(areas) + 1), strict=True), grid.shape, transform=grid.transform)
    typical = medians_of_areas(rough, owners, len(areas))
    steps = (STONY_WALK_M, STONY_FIGHT_M)
    confidence, texts = _believed(brightness, owners, len(areas), settings)
    return make_features(
        areas,
        crs=grid.crs,
        symbol=[("210", "211", "212")[band] for band in np.digitize(typical, steps)],
        confidence=confidence,
        evidence=[
            f"ground uneven by {value:.2f} m within a few metres, {text}"
            for value, text in zip(typical, texts, strict=True)
        ],
    )


def medians_of_areas(values: NDArray[np.floating], owners: NDArray[np.integer], n: int, /) -> Floats:
    """(n,) median of the known values in each area, NaN where none is known.

    `owners` says whose each cell is, from 1; 0 is nobody's.
    """
    chosen = (owners > 0) & np.isfinite(values)
    of_areas = pd.Series(values[chosen].astype(np.float64)).groupby(owners[chosen]).median()
    return of_areas.reindex(np.arange(1, n + 1)).to_numpy(np.float64)


def _believed(
    brightness: Brightness | None, owners: NDArray[np.integer], n: int, settings: RockSettings
) -> tuple[Floats, list[str]]:
    """(n,) confidence in areas of rough ground, and what their brightness says."""
    if brightness is None:
        return np.full(n, STONY_CONFIDENCE), [UNTOLD] * n
    index = np.arange(1, n + 1)
    is_told = np.asarray(ndimage.mean(np.isfinite(brightness.ratio), owners, index)) >= 0.5
    ratio = medians_of_areas(brightness.ratio, owners, n)
    lone = np.asarray(ndimage.mean(brightness.lone_ratio, owners, index), np.float64)
    darkness = np.clip((1 - ratio) / (1 - settings.bare_rock_max_brightness_ratio), 0, 1)
    least, most = STONY_BRIGHT_CONFIDENCE, STONY_DARK_CONFIDENCE
    sure = np.where(is_told, least + (most - least) * darkness * lone, STONY_CONFIDENCE)
    texts = [
        f"{r:.2f} times as bright as vegetated ground around, {share:.0%} of pulses end on it alone" if told else UNTOLD
        for r, share, told in zip(ratio, lone, is_told, strict=True)
    ]
    return sure, texts


def find_rocky_pits(bare_earth: Heights, ground_support: Heights, grid: Grid, /) -> gpd.GeoDataFrame:
    """Points 203.1: closed hollows deeper than a metre, under 5 m wide, with walls too steep for earth."""
    known = np.isfinite(bare_earth) & (ground_support <= 2 * grid.cell_m)
    if not known.any():
        return no_features(grid.crs)
    depth = _little_hollows(bare_earth, known, grid)
    labels, n = ndimage.label(depth > ROCKY_PIT_HOLLOW_M)
    index = np.arange(1, n + 1)
    deepest = ndimage.maximum(depth, labels, index)
    width = np.sqrt(ndimage.sum_labels(np.ones_like(depth), labels, index) * 4 / np.pi) * grid.cell_m
    steep = 2 * deepest / np.maximum(width, grid.cell_m) >= np.tan(np.radians(ROCKY_PIT_MIN_SLOPE_DEG))
    fits = (width >= ROCKY_PIT_MIN_WIDTH_M) & (width <= ROCKY_PIT_MAX_WIDTH_M)
    is_pit = (deepest >= ROCKY_PIT_MIN_DEPTH_M) & fits & steep
    if not is_pit.any():
        return no_features(grid.crs)
    centre = np.array(ndimage.center_of_mass(depth * (labels > 0), labels, index[is_pit])).reshape(-1, 2)
    east = (centre[:, 1] + grid.west_col + 0.5) * grid.cell_m
    north = (grid.north_row - 0.5 - centre[:, 0]) * grid.cell_m
    return make_features(
        [shapely.Point(e, n) for e, n in zip(east, north, strict=True)],
        crs=grid.crs,
        symbol="203.1",
        confidence=ROCKY_PIT_CONFIDENCE,
        evidence=[
            f"hollow {d:.1f} m deep and {w:.1f} m wide with steep walls"
            for d, w in zip(deepest[is_pit], width[is_pit], strict=True)
        ],
        height_m=-deepest[is_pit],
        width_m=width[is_pit],
    )


def _little_hollows(bare_earth: Heights, known: Mask, grid: Grid) -> Floats:
    """(rows, cols) metres of water that would stand in hollows narrower than a rocky pit may be; 0 elsewhere.

    Water is poured only around places that a closing as wide as the widest pit lifts: no other holds such a pit, and
    filling a whole survey takes longer than all its cliffs.
    """
    # Water runs out into what was not seen: a hollow counts only where its whole rim was.
    heights = np.where(known, bare_earth, np.min(bare_earth[known]) - 1).astype(np.float64)
    half_side = math.ceil(ROCKY_PIT_MAX_WIDTH_M / 2 / grid.cell_m)
    lifted = lowest_around(highest_around(heights, half_side), half_side) - heights
    reach = 2 * half_side + 1
    least_m = ROCKY_PIT_MIN_DEPTH_M - ROCKY_PIT_HOLLOW_M
    deep = (known & (lifted > least_m)).astype(np.uint8)
    labels, n = ndimage.label(highest_around(deep, reach))
    depth = np.zeros_like(heights)
    for label, window in enumerate(ndimage.find_objects(labels, n), start=1):
        here = labels[window] == label
        depth[window][here] = _water_depth(heights[window], known[window])[here]
    return depth


def _water_depth(heights: Floats, known: Mask) -> Floats:
    """(rows, cols) metres of water that stands where it cannot run out over the edge or into what was not seen."""
    seed = np.where(known, heights.max() + 1, heights)
    seed[0], seed[-1], seed[:, 0], seed[:, -1] = heights[0], heights[-1], heights[:, 0], heights[:, -1]
    filled = reconstruction(seed, heights, method="erosion")  # type: ignore[no-untyped-call]
    return np.asarray(filled, np.float64) - heights
