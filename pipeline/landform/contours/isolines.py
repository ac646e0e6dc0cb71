"""Lines of equal height: at which elevations, where, and which of them are index contours."""

from __future__ import annotations

import itertools

import contourpy
import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.lattice.grid import EastNorth, Grid, Heights


def contour_levels(heights: Heights, /, *, interval_m: float, base_level_m: float = 0.0) -> NDArray[np.float64]:
    """(k,) elevations of all contours that cut the surface, lowest first.

    Raises
    ------
    ValueError
        If the interval is not positive.
    """
    if interval_m <= 0:
        raise ValueError(f"interval_m must be greater than 0, not {interval_m}")
    if not np.isfinite(heights).any():
        return np.empty(0)
    first = np.ceil((np.nanmin(heights) - base_level_m) / interval_m)
    last = np.floor((np.nanmax(heights) - base_level_m) / interval_m)
    return base_level_m + interval_m * np.arange(first, last + 1)


def trace_contours(
    heights: Heights, grid: Grid, levels: NDArray[np.float64], /
) -> tuple[list[EastNorth], NDArray[np.float64]]:
    """Lines of equal height through the cell centres, higher ground on the left.

    Contours end at NaN and at the edge of the grid; a closed one repeats its first point.

    Returns
    -------
    list of n (k, 2) float64 in metres, and (n,) float64 elevation of each.
    """
    east, north = grid.centres()
    if min(heights.shape) < 2:
        return [], np.empty(0)
    # Rows turned to run northwards: only then has contourpy higher ground on the left of each line.
    tracer = contourpy.contour_generator(east, north[::-1], np.ma.masked_invalid(heights[::-1]), name="serial")
    lines: list[EastNorth] = []
    elevation_m: list[float] = []
    for level in levels:
        found = [np.asarray(line, np.float64) for line in tracer.lines(level)]
        lines += found
        elevation_m += [float(level)] * len(found)
    return lines, np.array(elevation_m)


def trace_areas(values: Heights, grid: Grid, /, *, at_least: float) -> list[shapely.Polygon]:
    """Areas in which the values reach `at_least`, with their holes; cut off at NaN and at the edge of the grid."""
    east, north = grid.centres()
    if min(values.shape) < 2:
        return []
    tracer = contourpy.contour_generator(
        east, north[::-1], np.ma.masked_invalid(values[::-1]), name="serial", fill_type="OuterOffset"
    )
    filled = tracer.filled(at_least, np.inf)
    areas = []
    for outline, starts in zip(filled[0], filled[1], strict=True):
        places, breaks = np.asarray(outline), np.asarray(starts)
        rings = [places[start:end] for start, end in itertools.pairwise(breaks)]
        areas.append(shapely.Polygon(rings[0], rings[1:]))
    return [area for area in areas if area.is_valid]


def is_index(
    elevation_m: NDArray[np.float64], /, *, interval_m: float, base_level_m: float, every: int
) -> NDArray[np.bool_]:
    """(n,) bool: which contours are index contours, counted from the base level."""
    steps = np.round((elevation_m - base_level_m) / interval_m).astype(np.int64)
    return np.asarray(steps % every == 0)
