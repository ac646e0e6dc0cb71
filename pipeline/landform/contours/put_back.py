"""Re-entrants and spurs that calming took from the contours, put back."""

from __future__ import annotations

import itertools
import math

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.landform.contours.isolines import contour_levels, trace_contours
from pipeline.landform.contours.legibility import Lines, Shapes, find_shapes, is_expressed, is_showable
from pipeline.landform.contours.limits import CONTOUR_LINE_MM, CONTOURS_APART_M, SMALLEST_BEND_M
from pipeline.landform.contours.rings import are_small_rings
from pipeline.lattice.grid import EastNorth, Grid, Heights, Mask
from pipeline.lattice.per_cell import count_in_cells
from pipeline.lattice.reach import within_reach
from pipeline.norm.paper import ground_m

SHAPE_WIDTH_M = 15.0
"""Width over which a re-entrant or spur is measured: a millimetre of map at 1:15 000 (our choice)."""
SHAPE_DEPTH_SHARE = 0.5
"""Depth of a re-entrant or spur, as a share of the interval, from which calming may not cut it short (our choice)."""


def lost_shapes(ground: Heights, drawn: Heights, grid: Grid, /, *, interval_m: float, base_level_m: float) -> Shapes:
    """Re-entrants and spurs that contours of the ground show and contours of the drawn surface do not.

    Only those that a line can show at all.
    """
    levels = contour_levels(ground, interval_m=interval_m, base_level_m=base_level_m)
    lines, level_m = _drawable(*trace_contours(ground, grid, levels))
    shapes = find_shapes(
        lines,
        level_m,
        ground,
        grid,
        width_m=SHAPE_WIDTH_M,
        min_depth_m=SHAPE_DEPTH_SHARE * interval_m,
    )
    shapes = shapes.where(
        is_showable(
            shapes,
            ground,
            grid,
            min_reach_m=SMALLEST_BEND_M / 2,
            steepest_deg=math.degrees(math.atan(interval_m / CONTOURS_APART_M)),
            margin_m=ground_m(CONTOUR_LINE_MM) / 2,
        )
    )
    return shapes.where(~is_expressed(shapes, *_drawable(*trace_contours(drawn, grid, levels))))


def _drawable(lines: list[EastNorth], level_m: NDArray[np.float64], /) -> tuple[Lines, NDArray[np.float64]]:
    """The contours without closed ones too small to draw, and their levels."""
    kept = ~are_small_rings(lines)
    return [shapely.LineString(line) for line in itertools.compress(lines, kept)], level_m[kept]


MOUTH_REACH_RATIO = 2.0
"""How far from the end of a re-entrant or spur the ground is put back, in widths of a shape: the mouth that calming
closed must lie within that distance (our choice)."""


def put_back(ground: Heights, drawn: Heights, grid: Grid, /, *, interval_m: float, base_level_m: float) -> Heights:
    """The drawn surface, with the ground itself wherever calming has cut a deep re-entrant or spur short.

    Calming fills the narrow mouth of a re-entrant, and its contour breaks in two. The part behind the mouth is then too
    small a ring to draw, and the re-entrant would be missing on the map.

    Parameters
    ----------
    ground : (rows, cols) float32, metres
        Smoothed as much as noise demands and no more.
    drawn : (rows, cols) float32, metres
        The ground after calming.
    """
    lost = lost_shapes(ground, drawn, grid, interval_m=interval_m, base_level_m=base_level_m)
    if not len(lost.level_m):
        return drawn
    taken = np.zeros(grid.shape, bool)
    reach_m = MOUTH_REACH_RATIO * SHAPE_WIDTH_M
    for level in np.unique(lost.level_m):
        near = _near(lost.places[lost.level_m == level], grid, reach_m=reach_m)
        taken |= near & ((ground < level) != (drawn < level))
    # Back to the calmed surface over half the width of a shape, without a crease.
    away = ndimage.distance_transform_edt(~taken) * grid.cell_m / (SHAPE_WIDTH_M / 2)
    weight = 0.5 + 0.5 * np.cos(np.pi * np.clip(away, 0, 1))
    return (drawn + weight * (ground - drawn)).astype(np.float32)


def _near(places: EastNorth, grid: Grid, /, *, reach_m: float) -> Mask:
    """(rows, cols) bool: cells within reach of a place."""
    held = count_in_cells(grid.cell_index(places[:, 0], places[:, 1]), grid.shape) > 0
    return within_reach(held, reach_m=reach_m, cell_m=grid.cell_m)
