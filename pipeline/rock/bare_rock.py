"""Bare rock 214: open ground without grass, darker than the vegetated ground around, uneven as no field or road is.

Nothing in a lidar survey is sure to be rock. What is looked for is what rock shows and most other ground does not; what
else shows the same (gravel pits, burnt or stripped ground) is named in the evidence, and confidence stays low.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize, shapes
from scipy import ndimage
from shapely.geometry import Polygon

from pipeline.features import make_features, no_features
from pipeline.grid import Grid, Heights, Mask
from pipeline.rock.brightness import Brightness
from pipeline.rock.stony import medians_of_areas, roughness
from pipeline.settings import RockSettings
from pipeline.terrain.relief import slope

Floats = NDArray[np.float64]


def unevenness(bare_earth: Heights, grid: Grid, /, *, settings: RockSettings) -> Heights:
    """How far the ground departs from its surroundings in waves of about 4 to 9 m, metres, (rows, cols).

    Decimetres of rock show; ridges of a plough, ruts and noise are shorter, slopes and terraces longer.
    """
    short, long = settings.bare_rock_short_sigma_m, settings.bare_rock_long_sigma_m
    waves: Heights = np.abs(_smooth(bare_earth, grid, short) - _smooth(bare_earth, grid, long))
    return waves


def _smooth(bare_earth: Heights, grid: Grid, sigma_m: float) -> Heights:
    """Heights over a Gaussian window of what is known in it."""
    known = np.isfinite(bare_earth)
    level = float(np.mean(bare_earth[known], dtype=np.float64)) if known.any() else 0.0
    # Above their mean, heights keep their millimetres in 32 bits.
    heights = np.where(known, bare_earth - np.float32(level), 0).astype(np.float32)
    above, below = (
        ndimage.gaussian_filter(values, sigma_m / grid.cell_m, mode="nearest")
        for values in (heights, known.astype(np.float32))
    )
    return np.asarray(above / np.maximum(below, 1e-6), np.float32)


def find_bare_rock(
    bare_earth: Heights,
    ground_support: Heights,
    brightness: Brightness,
    grid: Grid,
    /,
    *,
    settings: RockSettings,
) -> gpd.GeoDataFrame:
    """Areas 214; none where the intensity of the survey says nothing.

    Ground rough enough for 210 is left to that: the norm shows less runnable rock as stony ground (ISOM 2017-2, 214).
    """
    # Slopes make ground darker, never brighter: what is not dark as measured need not be looked at.
    is_dark = np.nan_to_num(brightness.ratio, nan=np.inf) <= settings.bare_rock_max_brightness_ratio
    is_dark &= brightness.lone_ratio >= settings.bare_rock_min_lone_ratio
    least_m2 = settings.bare_rock_core_share * settings.bare_rock_min_area_m2
    if not brightness.is_known or is_dark.sum() * grid.cell_m**2 < least_m2:
        return no_features(grid.crs)
    mask, ratio = _bare_and_dark(bare_earth, ground_support, brightness, grid, settings)
    areas = np.array(_outlines(mask, grid, settings), object)
    if not len(areas):
        return no_features(grid.crs)
    owners = rasterize(zip(areas, range(1, len(areas) + 1), strict=True), grid.shape, transform=grid.transform)
    dark, lone = (medians_of_areas(of, owners * mask, len(areas)) for of in (ratio, brightness.lone_ratio))
    inner = np.where(ndimage.distance_transform_edt(owners) * grid.cell_m >= settings.bare_rock_inside_m, owners, 0)
    # The median deviation times 1.48 is the standard deviation of what is spread normally.
    uneven = 1.4826 * medians_of_areas(unevenness(bare_earth, grid, settings=settings), inner, len(areas))
    stands_out = (1 - dark) / brightness.spread_ratio >= settings.bare_rock_min_contrast
    drawn = np.flatnonzero(stands_out & (uneven >= settings.bare_rock_min_relief_m))
    return make_features(
        areas[drawn],
        crs=grid.crs,
        symbol="214",
        confidence=_confidence(dark[drawn], settings),
        evidence=[_sentence(areas[i], dark[i], lone[i], uneven[i]) for i in drawn],
    )


def _bare_and_dark(
    bare_earth: Heights, ground_support: Heights, brightness: Brightness, grid: Grid, settings: RockSettings
) -> tuple[Mask, Heights]:
    """Cells of bare dark ground with their half-dark rim, and brightness freed from the slope's part in it."""
    steepness = slope(_smooth(bare_earth, grid, settings.bare_rock_hillside_sigma_m), grid)
    # A slope turned away from the light is darker by the cosine (Lambert); the pulse is taken to come from above.
    ratio = (brightness.ratio / np.cos(np.radians(steepness))).astype(np.float32)
    rough = np.nan_to_num(roughness(bare_earth, ground_support, grid, settings=settings), nan=np.inf)
    runs = (steepness <= settings.bare_rock_max_slope_deg) & (rough < settings.stony_slow_m)
    back = brightness.pulse_ratio >= settings.dry_min_pulse_ratio
    bare = runs & back & np.isfinite(bare_earth) & (brightness.lone_ratio >= settings.bare_rock_min_lone_ratio)
    core = bare & (ratio <= settings.bare_rock_max_brightness_ratio)
    half_dark = (1 + settings.bare_rock_max_brightness_ratio) / 2
    fringe_m = settings.bare_rock_fringe_m
    rim = ndimage.distance_transform_edt(~core) * grid.cell_m <= fringe_m if core.any() else core
    return core | (rim & runs & back & (ratio <= half_dark)), ratio


def _outlines(mask: Mask, grid: Grid, settings: RockSettings) -> list[Polygon]:
    """Outlines of what is wide and large enough, without strips (roads, banks) and small holes."""
    found = shapes(mask.astype(np.uint8), mask=mask, transform=grid.transform)
    half_m = settings.bare_rock_min_width_m / 2
    areas: NDArray[np.object_] = np.array([shapely.geometry.shape(outline) for outline, _ in found], object)
    wide = shapely.get_parts(shapely.buffer(shapely.buffer(areas, -half_m), half_m))
    whole = [_without_holes(area, settings.bare_rock_min_hole_m2) for area in wide]
    smooth = [shapely.make_valid(area.simplify(grid.cell_m)) for area in whole]
    parts = [part for area in smooth for part in shapely.get_parts(area) if isinstance(part, Polygon)]
    return [part for part in parts if part.area >= settings.bare_rock_min_area_m2]


def _without_holes(area: Polygon, least_m2: float) -> Polygon:
    return Polygon(area.exterior, [hole for hole in area.interiors if Polygon(hole).area >= least_m2])


def _confidence(dark: Floats, settings: RockSettings) -> Floats:
    """From the least to the most, as the ground is darker."""
    span = settings.bare_rock_max_brightness_ratio - settings.bare_rock_sure_brightness_ratio
    darkness = np.clip((settings.bare_rock_max_brightness_ratio - dark) / max(span, 1e-6), 0, 1)
    least, most = settings.bare_rock_least_confidence, settings.bare_rock_most_confidence
    return least + (most - least) * darkness


def _sentence(area: Polygon, dark: float, lone: float, uneven: float) -> str:
    return (
        f"ground {dark:.2f} times as bright as vegetated ground around, {lone:.0%} of pulses end on it alone, uneven "
        f"by {uneven:.2f} m within a few metres, {area.area:.0f} m2; or a field, gravel pit, road, burnt or felled land"
    )
