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
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.means import Known, gaussian_window
from pipeline.lattice.reach import within_reach
from pipeline.norm.symbols import isom
from pipeline.rock.ground.brightness import Brightness
from pipeline.rock.ground.stony import medians_of_areas, roughness
from pipeline.settings import RockSettings
from pipeline.terrain.relief import slope

DRY_MIN_PULSE_RATIO = 0.45
"""Ground from which fewer pulses come back, beside the survey's median, is water or wet. Half come back where every
other flight line is missing."""
BARE_ROCK_MIN_LONE_RATIO = 0.75
"""Least share of pulses that end on bare rock as their only return: no crowns, no grass, no roof. Bare roads show 0.9
and more (measured), but of lumpy rock some returns count as low growth."""
BARE_ROCK_SURE_BRIGHTNESS_RATIO = 0.4
"""From here down darkness adds nothing to the confidence."""
BARE_ROCK_MIN_CONTRAST = 2.5
"""How much darker it must be than vegetated ground, in standard deviations of the latter: 0.05 to 0.1 in surveys
(measured)."""
BARE_ROCK_MIN_RELIEF_M = 0.035
"""Least unevenness in waves of 4 to 9 m. Level fields and yards show 0.005 to 0.025 (planted), forest floor 0.03 to
0.1 (measured)."""
BARE_ROCK_SHORT_SIGMA_M = 0.75
"""Shorter waves than this sigma lets through are ranging noise and furrows, no unevenness of rock."""
BARE_ROCK_LONG_SIGMA_M = 1.5
"""Longer waves than this sigma lets through are hillsides; a wider window would reach over the edge of a field into
what lies around it."""
BARE_ROCK_INSIDE_M = 3.5
"""Unevenness is taken this far inside an area, where the wider window holds next to nothing of what lies around."""
BARE_ROCK_HILLSIDE_SIGMA_M = 3.0
"""Sigma over which the slope is taken: of the hillside, not of the lumps on it."""
BARE_ROCK_FRINGE_M = 2.0
"""The window blurs the edge of rock over about its own width; so far out half-dark ground belongs to it."""
BARE_ROCK_MIN_HOLE_M2 = 64.0
"""Smaller holes (a bush, a boulder) are left out: the least area of open land at 1:15000 (from memory of the ISOM)."""
BARE_ROCK_CORE_SHARE = 0.25
"""Dark ground of less than this share of the least area cannot grow by its fringe into a whole one."""
BARE_ROCK_MAX_SLOPE_DEG = 35.0
"""Steeper ground is dark because it is turned away from the light, and is not run over."""
BARE_ROCK_MIN_WIDTH_M = 10.0
"""Narrower strips are roads, tracks and banks; the least area is 15 m wide."""
BARE_ROCK_MIN_AREA_M2 = isom("214").smallest.area_m2
"""1 mm2 at 1:15000: ISOM 2017-2, 214."""
BARE_ROCK_LEAST_CONFIDENCE = 0.15
"""Of ground just dark enough: most of it will be something else (no source)."""
BARE_ROCK_MOST_CONFIDENCE = 0.35
"""However dark it is: no lidar tells rock from burnt or stripped ground (no source)."""

Floats = NDArray[np.float64]


def unevenness(bare_earth: Heights, grid: Grid, /) -> Heights:
    """How far the ground departs from its surroundings in waves of about 4 to 9 m, metres, (rows, cols).

    Decimetres of rock show; ridges of a plough, ruts and noise are shorter, slopes and terraces longer.
    """
    short, long = BARE_ROCK_SHORT_SIGMA_M, BARE_ROCK_LONG_SIGMA_M
    waves: Heights = np.abs(_smooth(bare_earth, grid, short) - _smooth(bare_earth, grid, long))
    return waves


def _smooth(bare_earth: Heights, grid: Grid, sigma_m: float) -> Heights:
    """Heights over a Gaussian window of what is known in it."""
    known = np.isfinite(bare_earth)
    level = float(np.mean(bare_earth[known], dtype=np.float64)) if known.any() else 0.0
    # Above their mean, heights keep their millimetres in 32 bits.
    heights = (bare_earth - np.float32(level)).astype(np.float32)
    window = gaussian_window(sigma_m / grid.cell_m, rim="nearest")
    return np.asarray(Known.of(known, window, dtype=np.float32).mean(heights), np.float32)


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
    is_dark &= brightness.lone_ratio >= BARE_ROCK_MIN_LONE_RATIO
    least_m2 = BARE_ROCK_CORE_SHARE * BARE_ROCK_MIN_AREA_M2
    if not brightness.is_known or is_dark.sum() * grid.cell_m**2 < least_m2:
        return no_features(grid.crs)
    mask, ratio = _bare_and_dark(bare_earth, ground_support, brightness, grid, settings)
    areas = np.array(_outlines(mask, grid), object)
    if not len(areas):
        return no_features(grid.crs)
    owners = rasterize(zip(areas, range(1, len(areas) + 1), strict=True), grid.shape, transform=grid.transform)
    dark, lone = (medians_of_areas(of, owners * mask, len(areas)) for of in (ratio, brightness.lone_ratio))
    inner = np.where(ndimage.distance_transform_edt(owners) * grid.cell_m >= BARE_ROCK_INSIDE_M, owners, 0)
    # The median deviation times 1.48 is the standard deviation of what is spread normally.
    uneven = 1.4826 * medians_of_areas(unevenness(bare_earth, grid), inner, len(areas))
    stands_out = (1 - dark) / brightness.spread_ratio >= BARE_ROCK_MIN_CONTRAST
    drawn = np.flatnonzero(stands_out & (uneven >= BARE_ROCK_MIN_RELIEF_M))
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
    steepness = slope(_smooth(bare_earth, grid, BARE_ROCK_HILLSIDE_SIGMA_M), grid)
    # A slope turned away from the light is darker by the cosine (Lambert); the pulse is taken to come from above.
    ratio = (brightness.ratio / np.cos(np.radians(steepness))).astype(np.float32)
    rough = np.nan_to_num(roughness(bare_earth, ground_support, grid), nan=np.inf)
    runs = (steepness <= BARE_ROCK_MAX_SLOPE_DEG) & (rough < settings.stony_slow_m)
    back = brightness.pulse_ratio >= DRY_MIN_PULSE_RATIO
    bare = runs & back & np.isfinite(bare_earth) & (brightness.lone_ratio >= BARE_ROCK_MIN_LONE_RATIO)
    core = bare & (ratio <= settings.bare_rock_max_brightness_ratio)
    half_dark = (1 + settings.bare_rock_max_brightness_ratio) / 2
    rim = within_reach(core, reach_m=BARE_ROCK_FRINGE_M, cell_m=grid.cell_m)
    return core | (rim & runs & back & (ratio <= half_dark)), ratio


def _outlines(mask: Mask, grid: Grid) -> list[Polygon]:
    """Outlines of what is wide and large enough, without strips (roads, banks) and small holes."""
    found = shapes(mask.astype(np.uint8), mask=mask, transform=grid.transform)
    half_m = BARE_ROCK_MIN_WIDTH_M / 2
    areas: NDArray[np.object_] = np.array([shapely.geometry.shape(outline) for outline, _ in found], object)
    wide = shapely.get_parts(shapely.buffer(shapely.buffer(areas, -half_m), half_m))
    whole = [_without_holes(area, BARE_ROCK_MIN_HOLE_M2) for area in wide]
    smooth = [shapely.make_valid(area.simplify(grid.cell_m)) for area in whole]
    parts = [part for area in smooth for part in shapely.get_parts(area) if isinstance(part, Polygon)]
    return [part for part in parts if part.area >= BARE_ROCK_MIN_AREA_M2]


def _without_holes(area: Polygon, least_m2: float) -> Polygon:
    return Polygon(area.exterior, [hole for hole in area.interiors if Polygon(hole).area >= least_m2])


def _confidence(dark: Floats, settings: RockSettings) -> Floats:
    """From the least to the most, as the ground is darker."""
    span = settings.bare_rock_max_brightness_ratio - BARE_ROCK_SURE_BRIGHTNESS_RATIO
    darkness = np.clip((settings.bare_rock_max_brightness_ratio - dark) / max(span, 1e-6), 0, 1)
    least, most = BARE_ROCK_LEAST_CONFIDENCE, BARE_ROCK_MOST_CONFIDENCE
    return least + (most - least) * darkness


def _sentence(area: Polygon, dark: float, lone: float, uneven: float) -> str:
    return (
        f"ground {dark:.2f} times as bright as vegetated ground around, {lone:.0%} of pulses end on it alone, uneven "
        f"by {uneven:.2f} m within a few metres, {area.area:.0f} m2; or a field, gravel pit, road, burnt or felled land"
    )
