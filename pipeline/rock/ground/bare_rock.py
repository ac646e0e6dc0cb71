"""Bare rock 214: open ground without grass, darker than the vegetated ground around, uneven as no field or road is.

Nothing in a lidar survey is sure to be rock. What is looked for is what rock shows and most other ground does not; what
else shows the same (gravel pits, burnt or stripped ground) is named in the evidence, and confidence stays low.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from scipy import ndimage
from shapely.geometry import Polygon

from pipeline.features import SUM, make_features, no_features
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.means import Known, gaussian_window
from pipeline.lattice.reach import wide_enough, within_reach
from pipeline.norm.symbols import isom
from pipeline.outlines.simpler import simplify_area_by_squares
from pipeline.rock.ground.brightness import Brightness
from pipeline.rock.ground.stony import Floats, areas_of_cells, cells_of_areas, roughness, sums_of_areas
from pipeline.terrain.relief import slope

SHORT_SIGMA_M = 0.75
"""Sigma of the smoothing that takes off what is too short to be rock: ranging noise and furrows (our choice)."""
LONG_SIGMA_M = 1.5
"""Sigma of the smoothing that leaves the hillside. Wider, the window reaches over the edge of a field into what lies
around it (our choice)."""


def unevenness(bare_earth: Heights, grid: Grid, /) -> Heights:
    """How far the ground departs from its surroundings in waves of about 4 to 9 m, metres, (rows, cols).

    Decimetres of rock show; ridges of a plough, ruts and noise are shorter, slopes and terraces longer.
    """
    waves: Heights = np.abs(_smooth(bare_earth, grid, SHORT_SIGMA_M) - _smooth(bare_earth, grid, LONG_SIGMA_M))
    return waves


def _smooth(bare_earth: Heights, grid: Grid, sigma_m: float) -> Heights:
    """Heights over a Gaussian window of what is known in it."""
    window = gaussian_window(sigma_m / grid.cell_m, rim="nearest")
    heights = bare_earth.astype(np.float64)
    return np.asarray(Known.of(np.isfinite(bare_earth), window).mean(heights), np.float32)


MIN_LONE_RATIO = 0.75
"""Least share of pulses that end on bare rock as their only return: no crowns, no grass, no roof. Bare roads show 0.9
and more (measured), but of lumpy rock some returns count as low growth."""
CORE_SHARE = 0.25
"""Dark ground of less than this share of the least area cannot grow by its half-dark fringe into a whole one, so that
the survey need not be looked at any further."""
HILLSIDE_SIGMA_M = 3.0
"""Sigma of the smoothing before the slope is taken: of the hillside, not of the lumps on it (our choice)."""
MAX_SLOPE_DEG = 35.0
"""Steeper ground is dark because it is turned away from the light, and is not run over (our choice)."""
INSIDE_M = 3.5
"""Unevenness is taken only so far inside an area, where the wider smoothing holds next to nothing of what lies
around."""
MIN_CONTRAST_SIGMAS = 2.5
"""How much darker it must be than vegetated ground, in standard deviations of the latter (0.05 to 0.1 of its brightness
in surveys, measured). Lower, what varies as vegetated ground does becomes rock (our choice)."""
MIN_RELIEF_M = 0.035
"""Least unevenness in waves of 4 to 9 m, as a standard deviation: level fields and yards show 0.005 to 0.025 (planted),
forest floor 0.03 to 0.1 (measured)."""


def find_bare_rock(
    bare_earth: Heights,
    ground_support: Heights,
    brightness: Brightness,
    grid: Grid,
    /,
    *,
    max_brightness_ratio: float,
    stony_slow_m: float,
) -> gpd.GeoDataFrame:
    """Areas 214; none where the intensity of the survey says nothing.

    Parameters
    ----------
    bare_earth, ground_support : (rows, cols) float32, metres
    max_brightness_ratio : float
        Brightest bare rock beside vegetated ground.
    stony_slow_m : float
        Roughness from which ground is left to stony ground 210, as the norm asks of less runnable rock (ISOM 2017-2,
        214).
    """
    dark = draw_dark_ground(
        bare_earth,
        brightness,
        roughness(bare_earth, ground_support, grid),
        grid,
        max_brightness_ratio=max_brightness_ratio,
        stony_slow_m=stony_slow_m,
    )
    measured = measure_dark_ground(dark.areas, dark, bare_earth, brightness, grid)
    return judge_dark_ground(measured, max_brightness_ratio=max_brightness_ratio)


@dataclass(frozen=True)
class DarkGround:
    """Bare dark ground, not yet judged.

    Attributes
    ----------
    areas : outlines with the symbol 214
    mask : (rows, cols) bool, the cells they were drawn around
    ratio : (rows, cols) brightness, made up for the slope
    """

    areas: gpd.GeoDataFrame
    mask: Mask
    ratio: Heights


def draw_dark_ground(
    bare_earth: Heights,
    brightness: Brightness,
    rough: Floats,
    grid: Grid,
    /,
    *,
    max_brightness_ratio: float,
    stony_slow_m: float,
) -> DarkGround:
    """Outlines of bare dark ground; where an edge runs depends on the ground within some metres alone.

    Parameters
    ----------
    rough : (rows, cols) float64, metres, as `pipeline.rock.ground.stony.roughness` gives it
    """
    # Slopes make ground darker, never brighter: what is not dark as measured need not be looked at.
    is_dark = np.nan_to_num(brightness.ratio, nan=np.inf) <= max_brightness_ratio
    is_dark &= brightness.lone_ratio >= MIN_LONE_RATIO
    least_m2 = CORE_SHARE * isom("214").smallest.area_m2
    if not brightness.is_known or is_dark.sum() * grid.cell_m**2 < least_m2:
        return DarkGround(no_features(grid.crs), np.zeros(grid.shape, np.bool_), brightness.ratio)
    steepness = slope(_smooth(bare_earth, grid, HILLSIDE_SIGMA_M), grid)
    # A slope turned away from the light is darker by the cosine (Lambert); the pulse is taken to come from above.
    ratio = (brightness.ratio / np.cos(np.radians(steepness))).astype(np.float32)
    runs = (steepness <= MAX_SLOPE_DEG) & (np.nan_to_num(rough, nan=np.inf) < stony_slow_m)
    mask = _bare_and_dark(ratio, runs, np.isfinite(bare_earth), brightness, grid, max_brightness_ratio)
    areas = make_features(outlines_of(mask, grid), crs=grid.crs, symbol="214", confidence=LEAST_CONFIDENCE, evidence="")
    return DarkGround(areas, mask, ratio)


def measure_dark_ground(
    areas: gpd.GeoDataFrame,
    dark: DarkGround,
    bare_earth: Heights,
    brightness: Brightness,
    grid: Grid,
    /,
    *,
    core: Grid | None = None,
) -> gpd.GeoDataFrame:
    """The areas, or pieces of them, with what is measured of each on cells, in columns to be added up.

    Parameters
    ----------
    areas : those of `dark`, or pieces of them cut at the edges of a field
    core : grid of the field, within `grid`; only its cells count for the pieces
    """
    if not len(areas):
        return areas.assign(**{SUM + name: np.empty(0) for name in MEASURES})
    place = grid if core is None else core
    window = grid.window_of(place)
    owners = cells_of_areas(list(areas.geometry), place)
    whole = cells_of_areas(list(dark.areas.geometry), grid)
    deep = ndimage.distance_transform_edt(whole) * grid.cell_m >= INSIDE_M
    uneven = unevenness(bare_earth, grid)
    fine = np.abs(bare_earth - _smooth(bare_earth, grid, SHORT_SIGMA_M))[window]
    is_inner = (deep & np.isfinite(uneven))[window]
    ratio, lone, uneven = dark.ratio[window], brightness.lone_ratio[window], uneven[window]
    is_told = dark.mask[window] & np.isfinite(ratio)
    stands_out = np.abs(ratio - 1) >= MIN_CONTRAST_SIGMAS * brightness.spread_ratio
    measured = {
        "told_cells": is_told,
        "bright": np.where(is_told, ratio, 0),
        "lone": np.where(is_told, lone, 0),
        "apart_cells": is_told & stands_out,
        "inner_cells": is_inner,
        "uneven_cells": is_inner & (uneven >= MIN_RELIEF_M / DEVIATIONS),
        "uneven_m": np.where(is_inner, uneven, 0),
        "fine_m": np.where(is_inner, fine, 0),
    }
    return areas.assign(**{SUM + name: sums_of_areas(values, owners, len(areas)) for name, values in measured.items()})


MEASURES = ("told_cells", "bright", "lone", "apart_cells", "inner_cells", "uneven_cells", "uneven_m", "fine_m")
"""Columns of `measure_dark_ground`, each with `SUM` before its name."""
DEVIATIONS = 1.4826
"""Standard deviations in a median deviation of what is spread normally."""
MEAN_DEVIATIONS = 1.2533
"""Standard deviations in a mean deviation of what is spread normally: the root of half of pi."""


def judge_dark_ground(areas: gpd.GeoDataFrame, /, *, max_brightness_ratio: float) -> gpd.GeoDataFrame:
    """Whole areas that are bare rock (214) by what was measured of all of them, with confidence and evidence.

    At least half of the cells must stand out from vegetated ground, and half of those well inside be as uneven as rock:
    that is to say the medians are. What is as dark and as even as a yard may be paved (501).
    """
    of = {name: areas[SUM + name].to_numpy(np.float64) for name in MEASURES}
    stands_out = 2 * of["apart_cells"] >= np.maximum(of["told_cells"], 1)
    is_uneven = 2 * of["uneven_cells"] >= np.maximum(of["inner_cells"], 1)
    bright, lone = (of[name] / np.maximum(of["told_cells"], 1) for name in ("bright", "lone"))
    uneven_m = MEAN_DEVIATIONS * of["uneven_m"] / np.maximum(of["inner_cells"], 1)
    fine_m = of["fine_m"] / np.maximum(of["inner_cells"], 1)
    is_even = (uneven_m <= MAX_PAVED_RELIEF_M) & (fine_m <= MAX_PAVED_FINE_M) & (of["inner_cells"] > 0)
    drawn = np.flatnonzero(stands_out & (is_uneven | is_even))
    shapes_drawn = areas.geometry.to_numpy()
    chosen = areas.iloc[drawn].drop(columns=[name for name in areas.columns if name.startswith(SUM)])
    return gpd.GeoDataFrame(
        chosen.assign(
            symbol=np.where(is_uneven, "214", "501")[drawn].astype(object),
            confidence=_confidence(bright[drawn], max_brightness_ratio),
            evidence=[_sentence(shapes_drawn[i], bright[i], lone[i], uneven_m[i]) for i in drawn],
        )
    )


MAX_PAVED_RELIEF_M = 0.02
"""Most unevenness, as `MIN_RELIEF_M`, of ground that may be paved: yards show 0.005 to 0.02, fields up to 0.025
(planted)."""
MAX_PAVED_FINE_M = 0.015
"""Most mean departure in metres from the ground within a stride or two: ranging noise, averaged in a cell, leaves 0.01,
furrows more (our choice)."""
DRY_MIN_PULSE_RATIO = 0.45
"""Ground from which fewer pulses come back than this share of the survey's median is water or wet. Half come back where
every other flight line is missing, which must not pass for water."""
FRINGE_M = 2.0
"""How far around dark ground half-dark ground belongs to it: the window of brightness blurs an edge over about its own
width."""


def _bare_and_dark(
    ratio: Heights, runs: Mask, known: Mask, brightness: Brightness, grid: Grid, max_brightness_ratio: float
) -> Mask:
    """Cells of bare dark ground that can be run over, with their half-dark rim."""
    dry = runs & (brightness.pulse_ratio >= DRY_MIN_PULSE_RATIO)
    core = dry & known & (brightness.lone_ratio >= MIN_LONE_RATIO) & (ratio <= max_brightness_ratio)
    rim = within_reach(core, reach_m=FRINGE_M, cell_m=grid.cell_m)
    mask: Mask = core | (rim & dry & (ratio <= (1 + max_brightness_ratio) / 2))
    return mask


MIN_WIDTH_M = 10.0
"""Narrower strips are roads, tracks and banks; the least area of 214 is 15 m wide (our choice)."""
MIN_HOLE_M2 = 64.0
"""Smaller holes (a bush, a boulder) are filled: about the least area of open land (ISOM 2017-2, 401: 67 m2)."""


def outlines_of(mask: Mask, grid: Grid, /) -> list[Polygon]:
    """Outlines of what is wide and large enough, without strips (roads, banks) and small holes."""
    wide = wide_enough(mask, width_m=MIN_WIDTH_M, cell_m=grid.cell_m)
    whole = [_without_holes(area, MIN_HOLE_M2) for area in areas_of_cells(wide, grid)]
    parts = [part for area in whole for part in simplify_area_by_squares(area, grid.cell_m)]
    return [part for part in parts if part.area >= isom("214").smallest.area_m2]


def _without_holes(area: Polygon, least_m2: float) -> Polygon:
    return Polygon(area.exterior, [hole for hole in area.interiors if Polygon(hole).area >= least_m2])


LEAST_CONFIDENCE, MOST_CONFIDENCE = 0.15, 0.35
"""Confidence of ground just dark enough, and of ground however dark. Neither is measured, for want of a survey with
mapped bare rock: most dark ground will be something else, and no lidar tells rock from burnt or stripped ground."""
DARKEST_RATIO = 0.4
"""Brightness beside vegetated ground below which more darkness adds no confidence (our choice)."""


def _confidence(dark: Floats, max_brightness_ratio: float) -> Floats:
    """From the least to the most confidence, as the ground is darker."""
    span = max_brightness_ratio - DARKEST_RATIO
    darkness = np.clip((max_brightness_ratio - dark) / max(span, 1e-6), 0, 1)
    return LEAST_CONFIDENCE + (MOST_CONFIDENCE - LEAST_CONFIDENCE) * darkness


def _sentence(area: Polygon, dark: float, lone: float, uneven: float) -> str:
    return (
        f"ground {dark:.2f} times as bright as vegetated ground around, {lone:.0%} of pulses end on it alone, uneven "
        f"by {uneven:.2f} m within a few metres, {area.area:.0f} m2; or a field, gravel pit, road, burnt or felled land"
    )
