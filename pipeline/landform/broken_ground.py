"""Broken ground 113: too many small shapes to show one by one."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from scipy import ndimage

from pipeline.features import make_features
from pipeline.grid import Grid, Heights
from pipeline.landform.generalise import fill_voids, round_off
from pipeline.landform.isolines import trace_areas
from pipeline.landform.seen import mean_along
from pipeline.settings import LandformSettings
from pipeline.terrain.relief import slope


def unevenness(heights: Heights, grid: Grid, /, *, finest_m: float, coarsest_m: float, reach_m: float) -> Heights:
    """Standard deviation of the shapes between two sizes, taken within `reach_m`.

    Shapes smaller than `finest_m` are noise of the survey, larger than `coarsest_m` the contours show them.

    Returns
    -------
    (rows, cols) float32, metres; NaN where the heights are unknown.
    """
    filled, unknown = fill_voids(heights)
    fine, coarse, reach = (size_m / grid.cell_m for size_m in (finest_m, coarsest_m, reach_m))
    shapes = ndimage.gaussian_filter(filled, fine / 2) - ndimage.gaussian_filter(filled, coarse / 2)
    # The square root is taken before the mean, so that one boulder or one cliff does not make the ground uneven.
    spread = ndimage.gaussian_filter(np.sqrt(np.abs(shapes)), reach / 2) ** 2
    # For normally distributed shapes the mean of the root of the size is 0.822 times the root of the deviation.
    return np.where(unknown, np.float32(np.nan), spread / 0.822**2).astype(np.float32)


def draft_broken_ground(
    heights: Heights, grid: Grid, seen: Heights, seen_grid: Grid, /, *, settings: LandformSettings
) -> gpd.GeoDataFrame:
    """Areas of small knolls and pits that contours cannot show.

    Returns
    -------
    GeoDataFrame of 113, Polygons, with the standard deviation of the unevenness as `height_m`.
    """
    uneven = unevenness(
        heights,
        grid,
        finest_m=settings.broken_finest_m,
        coarsest_m=settings.broken_coarsest_m,
        reach_m=settings.broken_reach_m,
    )
    level_m = settings.min_broken_m
    usual = _usual(uneven, reach=round(settings.contrast_reach_m / grid.cell_m))
    # The crest and the foot of a slope are no broken ground; contours show them.
    steep = slope(round_off(heights, grid, smoothing_m=settings.broken_finest_m), grid) > settings.broken_max_slope_deg
    stands_out = np.where(
        steep, 0, np.minimum(uneven, level_m * uneven / np.maximum(settings.min_broken_contrast * usual, 1e-3))
    )
    areas = trace_areas(stands_out.astype(np.float32), grid, at_least=level_m)
    large = [area.simplify(grid.cell_m) for area in areas if area.area >= settings.min_broken_area_m2]
    simple = [area for area in large if isinstance(area, shapely.Polygon)]
    inside = [_values_inside(uneven, grid, area) for area in simple]
    mean_m = np.array([float(np.mean(values)) if len(values) else level_m for values in inside])
    outline = [np.asarray(area.exterior.coords) for area in simple]
    sure = np.clip(mean_m / (2 * level_m), 0, 1) * np.clip(mean_along(seen, seen_grid, outline), 0, 1)
    return make_features(
        simple,
        crs=grid.crs,
        symbol="113",
        confidence=sure,
        evidence=[
            f"uneven by {spread:.2f} m over {area.area:.0f} m2" for spread, area in zip(mean_m, simple, strict=True)
        ],
        height_m=mean_m,
    )


def _usual(uneven: Heights, /, *, reach: int) -> Heights:
    """Unevenness of the ground round about, little moved by the few places that stand out."""
    known = np.isfinite(uneven)
    often = np.minimum(np.where(known, uneven, 0), 2 * float(np.median(uneven[known])))
    share = ndimage.uniform_filter(known.astype(np.float32), 2 * reach + 1)
    return np.asarray(ndimage.uniform_filter(often, 2 * reach + 1) / np.maximum(share, 1e-6))


def _values_inside(values: Heights, grid: Grid, area: shapely.Polygon) -> Heights:
    """Known values of the cells whose centre lies in an area."""
    west, south, east, north = area.bounds
    top, left = grid.row_col(np.array([west]), np.array([north]))
    bottom, right = grid.row_col(np.array([east]), np.array([south]))
    rows = slice(max(0, int(top[0])), max(0, int(bottom[0])) + 1)
    cols = slice(max(0, int(left[0])), max(0, int(right[0])) + 1)
    east_at, north_at = grid.centres()
    inside = shapely.contains_xy(area, *np.meshgrid(east_at[cols], north_at[rows]))
    found = values[rows, cols][inside]
    return found[np.isfinite(found)]
