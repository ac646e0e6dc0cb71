"""Stony ground 210 to 212 from the roughness of the bare earth.

Roughness says where stony ground is drawn; how bright the ground is only says how far that is believed.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize, shapes
from scipy import ndimage

from pipeline.features import make_features, no_features
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.means import Known, square_window
from pipeline.rock.ground.brightness import Brightness

Floats = NDArray[np.float64]

WINDOW_M = 4.0
"""Ground over which roughness is taken, as a half side in metres: a few strides of a runner (our choice)."""
MOST_DEPARTURE_M = 0.6
"""No place counts as rougher than this: larger departures are boulders, steps or banks, which are drawn on their own
(our choice)."""


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
    sigma = 0.5 * WINDOW_M / grid.cell_m
    left = heights.astype(np.float64) - ndimage.gaussian_filter(heights.astype(np.float64), sigma)
    # The upward half of a step or a gully edge is not stone: each place counts for at most the cap.
    square = np.minimum(left**2, MOST_DEPARTURE_M**2)
    known = Known.of(seen, square_window(max(3, 2 * round(WINDOW_M / grid.cell_m) + 1), rim="reflect"))
    return np.where(known.share > 0.5, np.sqrt(np.clip(known.mean(square), 0, None)), np.nan)


WALK_M, FIGHT_M = 0.4, 0.5
"""Roughness from which stony ground is 211 rather than 210, and 212 rather than 211 (our choice, not measured: the norm
speaks of running speed)."""
MIN_AREA_M2 = 225.0
"""Smallest stony area (our choice): roughness is too uncertain for the least area of the norm, three dots or 10 by 10 m
(ISOM 2017-2, 210)."""


def find_stony_ground(
    bare_earth: Heights,
    ground_support: Heights,
    grid: Grid,
    /,
    *,
    brightness: Brightness | None = None,
    slow_m: float,
    dark_ratio: float,
) -> gpd.GeoDataFrame:
    """Areas 210, 211 and 212 where the ground is rough enough to slow a runner.

    Confidence stays low: roots, ruts and poorly filtered undergrowth are as rough, and only a visit tells. Ground that
    is dark and bare as well is believed more, ground as bright as plants less.

    Parameters
    ----------
    bare_earth, ground_support : (rows, cols) float32, metres
    slow_m : float
        Roughness from which ground is stony.
    dark_ratio : float
        Brightness beside vegetated ground at which ground counts as dark as bare rock.
    """
    rough = np.nan_to_num(roughness(bare_earth, ground_support, grid))
    # The middle of the 25 cells around is rough where at least 13 of them are.
    n_rough = 25 * ndimage.uniform_filter((rough >= slow_m).astype(np.float32), 5)
    mask = (n_rough > 12.5).astype(np.uint8)
    outlines = [shapely.geometry.shape(outline) for outline, _ in shapes(mask, mask=mask > 0, transform=grid.transform)]
    # A single step or gully edge is rough along a strip about two windows wide; stony ground is wide both ways.
    strip_m = 1.25 * WINDOW_M
    wide = [part for area in outlines for part in shapely.get_parts(area.buffer(-strip_m).buffer(strip_m))]
    areas = [area.simplify(grid.cell_m).buffer(0) for area in wide if area.area >= MIN_AREA_M2]
    if not areas:
        return no_features(grid.crs)
    owners = rasterize(zip(areas, range(1, len(areas) + 1), strict=True), grid.shape, transform=grid.transform)
    typical = medians_of_areas(rough, owners, len(areas))
    confidence, texts = _believed(brightness, owners, len(areas), dark_ratio)
    return make_features(
        areas,
        crs=grid.crs,
        symbol=[("210", "211", "212")[band] for band in np.digitize(typical, (WALK_M, FIGHT_M))],
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


CONFIDENCE = 0.35
"""Confidence in stony ground where only roughness speaks: it cannot tell stones from roots, ruts and undergrowth taken
for ground. Not measured, for want of a survey with mapped stony ground; so are the two below."""
DARK_CONFIDENCE = 0.5
"""Confidence where rough ground is also as dark as bare rock and nothing grows on it: stone is then likelier than
undergrowth."""
BRIGHT_CONFIDENCE = 0.25
"""Confidence where rough ground is as bright as vegetated ground: undergrowth is then likelier than stone."""
UNTOLD = "roughness alone: intensity says nothing here"
"""What the evidence says where brightness is not known."""


def _believed(
    brightness: Brightness | None, owners: NDArray[np.integer], n: int, dark_ratio: float
) -> tuple[Floats, list[str]]:
    """(n,) confidence in areas of rough ground, and what their brightness says."""
    if brightness is None:
        return np.full(n, CONFIDENCE), [UNTOLD] * n
    index = np.arange(1, n + 1)
    is_told = np.asarray(ndimage.mean(np.isfinite(brightness.ratio), owners, index)) >= 0.5
    ratio = medians_of_areas(brightness.ratio, owners, n)
    lone = np.asarray(ndimage.mean(brightness.lone_ratio, owners, index), np.float64)
    darkness = np.clip((1 - ratio) / (1 - dark_ratio), 0, 1)
    told = BRIGHT_CONFIDENCE + (DARK_CONFIDENCE - BRIGHT_CONFIDENCE) * darkness * lone
    sure = np.where(is_told, told, CONFIDENCE)
    texts = [
        f"{r:.2f} times as bright as vegetated ground around, {share:.0%} of pulses end on it alone" if told else UNTOLD
        for r, share, told in zip(ratio, lone, is_told, strict=True)
    ]
    return sure, texts
