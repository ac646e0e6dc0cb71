"""Broken ground 113: too many small shapes to show one by one."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from scipy import ndimage

from pipeline.features import make_features
from pipeline.landform.contours.generalise import round_off
from pipeline.landform.contours.isolines import trace_areas
from pipeline.landform.shapes.gullies import CONTRAST_REACH_M
from pipeline.lattice.fill import fill_voids
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.means import Known, gaussian_window, square_window
from pipeline.lattice.reach import within_reach
from pipeline.lattice.sampling import mean_along
from pipeline.settings import LandformSettings
from pipeline.terrain.relief import slope

BROKEN_FINEST_M = 3.0
"""Smaller shapes are noise of the survey."""
BROKEN_COARSEST_M = 10.0
"""Larger shapes are drawn one by one."""
BROKEN_REACH_M = 10.0
"""Ground is broken together: the least area is 10 m wide."""
BROKEN_MAX_SLOPE_DEG = 20.0
"""Steeper ground is shaped by its slope; unevenness there is the slope's own."""
MIN_BROKEN_CONTRAST = 1.8
"""Times the usual unevenness round about from which ground is called broken."""
MIN_BROKEN_AREA_M2 = 300.0
"""Least area of broken ground: three dots are 100 m2 (ISOM 113), three times it."""


def unevenness(
    heights: Heights, counted: Mask, grid: Grid, /, *, finest_m: float, coarsest_m: float, reach_m: float
) -> Heights:
    """Typical height of the shapes between two sizes, taken within `reach_m` over the counted cells.

    Shapes smaller than `finest_m` are noise of the survey; those larger than `coarsest_m` the contours show.

    Returns
    -------
    (rows, cols) float32, metres; 0 where less than half of the ground around counts.
    """
    filled, unknown = fill_voids(heights)
    # A hump of some size is half a wave; a Gaussian of a quarter of its size halves such waves.
    fine, coarse = (size_m / 4 / grid.cell_m for size_m in (finest_m, coarsest_m))
    shapes = ndimage.gaussian_filter(filled, fine) - ndimage.gaussian_filter(filled, coarse)
    window = gaussian_window(reach_m / 2 / grid.cell_m, rim="reflect")
    known = Known.of(counted & ~unknown, window, dtype=np.float32)
    # The square root is taken before the mean, so that one boulder or one furrow does not make the ground uneven.
    # For normally distributed shapes the mean of the root of the size is 0.822 times the root of the deviation.
    spread = (known.mean(np.sqrt(np.abs(shapes)), least_share=0.5) / 0.822) ** 2
    return np.where(known.share >= 0.5, spread, 0).astype(np.float32)


def beside_slopes(heights: Heights, grid: Grid, /) -> Mask:
    """(rows, cols) bool: steep ground, and the crest and foot beside it, which contours show."""
    steepness = slope(round_off(heights, grid, smoothing_m=BROKEN_FINEST_M / 2), grid)
    steep = np.nan_to_num(steepness) > BROKEN_MAX_SLOPE_DEG
    return within_reach(steep, reach_m=BROKEN_COARSEST_M / 2, cell_m=grid.cell_m)


def draft_broken_ground(
    heights: Heights, grid: Grid, seen: Heights, seen_grid: Grid, /, *, settings: LandformSettings
) -> gpd.GeoDataFrame:
    """Areas of small knolls and pits that contours cannot show.

    Returns
    -------
    GeoDataFrame of 113, Polygons, with the standard deviation of the unevenness as `height_m`.
    """
    beside = beside_slopes(heights, grid)
    uneven = unevenness(
        heights,
        ~beside,
        grid,
        finest_m=BROKEN_FINEST_M,
        coarsest_m=BROKEN_COARSEST_M,
        reach_m=BROKEN_REACH_M,
    )
    level_m = settings.min_broken_m
    usual = _usual(uneven, uneven > 0, reach=round(CONTRAST_REACH_M / grid.cell_m))
    measure = np.minimum(uneven, level_m * uneven / np.maximum(MIN_BROKEN_CONTRAST * usual, 1e-3))
    stands_out = np.pad(np.where(beside, 0, measure), 1)
    areas = trace_areas(stands_out.astype(np.float32), grid.pad(grid.cell_m), at_least=level_m)
    large = [area.simplify(grid.cell_m) for area in areas if area.area >= MIN_BROKEN_AREA_M2]
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


def _usual(uneven: Heights, known: Mask, /, *, reach: int) -> Heights:
    """Unevenness of the ground round about, little moved by the few places that stand out."""
    if not known.any():
        return np.zeros_like(uneven)
    often = np.minimum(uneven, 2 * float(np.median(uneven[known])))
    return Known.of(known, square_window(2 * reach + 1, rim="reflect"), dtype=np.float32).mean(often)


def _values_inside(values: Heights, grid: Grid, area: shapely.Polygon) -> Heights:
    """Known values of the cells whose centre lies in an area."""
    rows, cols = grid.window_around(area.bounds)
    east_at, north_at = grid.centres()
    inside = shapely.contains_xy(area, *np.meshgrid(east_at[cols], north_at[rows]))
    found = values[rows, cols][inside]
    return found[np.isfinite(found)]
