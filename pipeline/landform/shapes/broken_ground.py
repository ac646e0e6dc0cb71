"""Broken ground 113: too many small shapes to show one by one."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from pipeline.features import SUM, make_features
from pipeline.landform.contours.generalise import round_off
from pipeline.landform.contours.isolines import trace_areas
from pipeline.landform.shapes.surroundings import usual_size
from pipeline.lattice.fill import fill_voids
from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.grid import Bounds, Grid, Heights, Mask
from pipeline.lattice.means import Known, gaussian_window
from pipeline.lattice.reach import within_reach
from pipeline.lattice.sampling import sample
from pipeline.outlines.cutting import cut_to_core
from pipeline.outlines.simpler import simplify_area_by_squares
from pipeline.terrain.relief import slope

FINEST_M = 3.0
"""Width of a hump or dent below which it is noise of the survey (our choice)."""
COARSEST_M = 10.0
"""Width of a hump or dent above which it is drawn by itself (our choice)."""
REACH_M = 10.0
"""Width over which unevenness is taken together: about that of the least area, three dots (ISOM 113)."""


def unevenness(heights: Heights, counted: Mask, grid: Grid, /) -> Heights:
    """Typical height of the humps and dents a runner meets, over the counted cells round about.

    Shapes narrower than `FINEST_M` are noise of the survey; those wider than `COARSEST_M` are drawn by themselves.

    Returns
    -------
    (rows, cols) float32, metres; 0 where less than half of the ground around counts.
    """
    filled, unknown = fill_voids(heights)
    # A hump of some size is half a wave; a Gaussian of a quarter of its size halves such waves.
    fine, coarse = (size_m / 4 / grid.cell_m for size_m in (FINEST_M, COARSEST_M))
    shapes = gaussian(filled, fine) - gaussian(filled, coarse)
    window = gaussian_window(REACH_M / 2 / grid.cell_m, rim="reflect")
    known = Known.of(counted & ~unknown, window, dtype=np.float32)
    # The square root is taken before the mean, so that one boulder or one furrow does not make the ground uneven.
    # For normally distributed shapes the mean of the root of the size is 0.822 times the root of the deviation.
    spread = (known.mean(np.sqrt(np.abs(shapes)), least_share=0.5) / 0.822) ** 2
    return np.where(known.share >= 0.5, spread, 0).astype(np.float32)


MAX_SLOPE_DEG = 20.0
"""Slope above which unevenness is the slope's own, and no broken ground is drawn (our choice)."""


def beside_slopes(heights: Heights, grid: Grid, /) -> Mask:
    """(rows, cols) bool: steep ground, and the crest and foot beside it, which contours show."""
    steepness = slope(round_off(heights, grid, smoothing_m=FINEST_M / 2), grid)
    steep = np.nan_to_num(steepness) > MAX_SLOPE_DEG
    return within_reach(steep, reach_m=COARSEST_M / 2, cell_m=grid.cell_m)


MIN_CONTRAST = 1.8
"""How many times more uneven than usual round about ground must be to be called broken (our choice)."""
MIN_AREA_M2 = 300.0
"""Least area of broken ground that is drawn: three times the 100 m2 that three dots take, the least the norm allows
(ISOM 113). Smaller patches are often chance (our choice)."""


SURE_RATIO = 2.0
"""Unevenness, as a multiple of the least that counts, from which nothing is taken off the confidence. Our choice:
nobody has measured how often a mapper keeps such areas."""


def draft_broken_ground(
    heights: Heights,
    grid: Grid,
    seen: Heights,
    seen_grid: Grid,
    /,
    *,
    min_unevenness_m: float,
    core: Bounds | None = None,
) -> gpd.GeoDataFrame:
    """Areas of small knolls and pits that contours cannot show.

    Parameters
    ----------
    min_unevenness_m : float
        Standard deviation of the humps and dents from which a runner has to look at the ground.
    core : west, south, east, north in metres, or None
        What is kept; areas are cut there.

    Returns
    -------
    GeoDataFrame of 113, Polygons, with sums over the cells within: their number, the standard deviation of the
    unevenness as height, how well they were seen, and the height over what is surely broken. Confidence and evidence
    are still to be told.
    """
    beside = beside_slopes(heights, grid)
    uneven = unevenness(heights, ~beside, grid)
    usual = usual_size(uneven, uneven > 0, grid, most=2.0)
    measure = np.minimum(uneven, min_unevenness_m * uneven / np.maximum(MIN_CONTRAST * usual, 1e-3))
    stands_out = np.pad(np.where(beside, 0, measure), 1)
    areas = trace_areas(stands_out.astype(np.float32), grid.pad(grid.cell_m), at_least=min_unevenness_m)
    whole = [area for area in areas if area.area >= MIN_AREA_M2]
    parts = [part for area in whole for part in simplify_area_by_squares(area, grid.cell_m)]
    drawn = make_features(parts, crs=grid.crs, symbol="113", confidence=0.0, evidence="")
    kept = drawn if core is None else cut_to_core(drawn, core)
    sums = np.array([_sums_inside(uneven, grid, seen, seen_grid, area) for area in kept.geometry]).reshape(-1, 3)
    measured = kept.assign(**{SUM + name: sums[:, n] for n, name in enumerate(("cells", "height", "seen"))})
    return measured.assign(**{SUM + "sure": measured[SUM + "height"] / (SURE_RATIO * min_unevenness_m)})


def _sums_inside(
    uneven: Heights, grid: Grid, seen: Heights, seen_grid: Grid, area: shapely.Polygon
) -> tuple[float, float, float]:
    """Number, unevenness and how well seen, added up over the cells whose centre lies in an area."""
    rows, cols = grid.window_around(area.bounds)
    east_at, north_at = (values.ravel() for values in np.meshgrid(grid.centres()[0][cols], grid.centres()[1][rows]))
    inside = shapely.contains_xy(area, east_at, north_at)
    own = np.column_stack([east_at[inside], north_at[inside]])
    height = uneven[rows, cols].ravel()[inside]
    trust = np.nan_to_num(sample(seen, seen_grid, own))
    return float(len(own)), float(height.sum(dtype=np.float64)), float(trust.sum())
