"""Stony ground 210 to 212 from the roughness of the bare earth.

Roughness says where stony ground is drawn; how bright the ground is only says how far that is believed.
"""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from rasterio.features import rasterize, shapes
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.features import SUM, make_features
from pipeline.lattice.filters.box import square_mean
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.means import Known, gaussian_window, square_window
from pipeline.lattice.reach import wide_enough
from pipeline.outlines.simpler import simplify_area_by_squares
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
    known = np.isfinite(bare_earth)
    seen = known & (ground_support <= 2 * grid.cell_m)
    window = gaussian_window(0.5 * WINDOW_M / grid.cell_m, rim="reflect")
    heights = bare_earth.astype(np.float64)
    left = np.nan_to_num(heights - Known.of(known, window).mean(heights))
    # The upward half of a step or a gully edge is not stone: each place counts for at most the cap.
    square = np.minimum(left**2, MOST_DEPARTURE_M**2)
    around = Known.of(seen, square_window(max(3, 2 * round(WINDOW_M / grid.cell_m) + 1), rim="reflect"))
    return np.where(around.share > 0.5, np.sqrt(np.clip(around.mean(square), 0, None)), np.nan)


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
    rough = roughness(bare_earth, ground_support, grid)
    areas = draw_stony_ground(rough, grid, slow_m=slow_m)
    return judge_stony_ground(measure_stony_ground(areas, rough, brightness, grid), dark_ratio=dark_ratio)


def draw_stony_ground(rough: Floats, grid: Grid, /, *, slow_m: float) -> gpd.GeoDataFrame:
    """Outlines of ground of at least this roughness, not yet judged, with the symbol 210.

    Where an edge runs depends on the roughness within a few metres alone, so that two fields draw it alike.
    """
    # The middle of the 25 cells around is rough where at least 13 of them are.
    n_rough = 25 * square_mean((np.nan_to_num(rough) >= slow_m).astype(np.float32), 5)
    # A single step or gully edge is rough along a strip about two windows wide; stony ground is wide both ways.
    mask = wide_enough(n_rough > 12.5, width_m=2.5 * WINDOW_M, cell_m=grid.cell_m)
    whole = [area for area in areas_of_cells(mask, grid) if area.area >= MIN_AREA_M2]
    areas = [part for area in whole for part in simplify_area_by_squares(area, grid.cell_m)]
    return make_features(areas, crs=grid.crs, symbol="210", confidence=CONFIDENCE, evidence="")


def measure_stony_ground(
    areas: gpd.GeoDataFrame, rough: Floats, brightness: Brightness | None, grid: Grid, /, *, core: Grid | None = None
) -> gpd.GeoDataFrame:
    """The areas, or pieces of them, with what is measured of each on cells, in columns to be added up.

    Parameters
    ----------
    areas : those of `draw_stony_ground`, or pieces of them cut at the edges of a field
    core : grid of the field, within `grid`; only its cells count for the pieces
    """
    place = grid if core is None else core
    window = grid.window_of(place)
    owners = cells_of_areas(list(areas.geometry), place)
    rough = rough[window]
    known = np.isfinite(rough)
    measured = {"cells": owners > 0, "rough_m": np.nan_to_num(rough)}
    measured |= {"walk_cells": known & (rough >= WALK_M), "fight_cells": known & (rough >= FIGHT_M)}
    if brightness is not None:
        ratio = brightness.ratio[window]
        measured |= {"told_cells": np.isfinite(ratio), "bright": np.nan_to_num(ratio)}
        measured |= {"lone": brightness.lone_ratio[window]}
    return areas.assign(**{SUM + name: sums_of_areas(values, owners, len(areas)) for name, values in measured.items()})


def areas_of_cells(mask: Mask, grid: Grid, /) -> list[Polygon]:
    """The outlines of what hangs together of a mask by the sides of cells."""
    found = shapes(mask.astype(np.uint8), mask=mask, transform=grid.transform)
    return [Polygon(rings[0], rings[1:]) for rings in (outline["coordinates"] for outline, _ in found)]


def cells_of_areas(areas: Sequence[BaseGeometry], grid: Grid, /) -> NDArray[np.integer]:
    """(rows, cols) the number of the area that each cell's centre lies in, from 1; 0 for none."""
    if not len(areas):
        return np.zeros(grid.shape, np.int32)
    numbered = zip(areas, range(1, len(areas) + 1), strict=True)
    return np.asarray(rasterize(numbered, grid.shape, transform=grid.transform, dtype="int32"))


def sums_of_areas(values: NDArray[np.generic], owners: NDArray[np.integer], n: int, /) -> Floats:
    """(n,) sum of the values of the cells of each area."""
    total = np.bincount(owners.ravel(), np.asarray(values, np.float64).ravel(), minlength=n + 1).astype(np.float64)
    return total[1 : n + 1]


def judge_stony_ground(areas: gpd.GeoDataFrame, /, *, dark_ratio: float) -> gpd.GeoDataFrame:
    """Whole areas with the symbol, the confidence and the evidence that what was measured of all of them gives.

    Ground is 211 or 212 where at least half of its cells are as rough as that.
    """
    cells = np.maximum(areas[SUM + "cells"].to_numpy(np.float64), 1)
    typical = areas[SUM + "rough_m"].to_numpy(np.float64) / cells
    walk, fight = (2 * areas[SUM + name].to_numpy(np.float64) >= cells for name in ("walk_cells", "fight_cells"))
    confidence, texts = _believed(areas, cells, dark_ratio)
    return gpd.GeoDataFrame(
        areas.drop(columns=[name for name in areas.columns if name.startswith(SUM)]).assign(
            symbol=np.where(fight, "212", np.where(walk, "211", "210")).astype(object),
            confidence=confidence,
            evidence=[
                f"ground uneven by {value:.2f} m within a few metres, {text}"
                for value, text in zip(typical, texts, strict=True)
            ],
        )
    )


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


def _believed(areas: gpd.GeoDataFrame, cells: Floats, dark_ratio: float) -> tuple[Floats, list[str]]:
    """(n,) confidence in areas of rough ground, and what their brightness says."""
    n = len(areas)
    if SUM + "told_cells" not in areas:
        return np.full(n, CONFIDENCE), [UNTOLD] * n
    told_cells, bright, lone = (areas[SUM + name].to_numpy(np.float64) for name in ("told_cells", "bright", "lone"))
    is_told = np.nan_to_num(told_cells) >= 0.5 * cells
    ratio, share = bright / np.maximum(told_cells, 1), lone / cells
    darkness = np.clip((1 - ratio) / (1 - dark_ratio), 0, 1)
    told = BRIGHT_CONFIDENCE + (DARK_CONFIDENCE - BRIGHT_CONFIDENCE) * darkness * share
    sure = np.where(is_told, told, CONFIDENCE)
    texts = [
        f"{r:.2f} times as bright as vegetated ground around, {s:.0%} of pulses end on it alone" if t else UNTOLD
        for r, s, t in zip(ratio, share, is_told, strict=True)
    ]
    return sure, texts
