"""Contours 101 and index contours 102."""

from __future__ import annotations

import contourpy
import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.features import make_features
from pipeline.grid import EastNorth, Grid, Heights
from pipeline.landform.paper import ground_m, sheet_ground_m
from pipeline.landform.seen import mean_along
from pipeline.settings import LandformSettings


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


def is_closed(line: EastNorth, /) -> bool:
    """Whether a line ends where it began."""
    return len(line) > 3 and bool(np.array_equal(line[0], line[-1]))


def encloses_higher(ring: EastNorth, /) -> bool:
    """Whether a ring with the higher ground on its left runs around a hill, not around a hollow."""
    return bool(shapely.is_ccw(shapely.linearrings(ring)))


def ring_size_m(ring: EastNorth, /) -> tuple[float, float]:
    """Length and width of the narrowest rectangle around a ring."""
    box = shapely.oriented_envelope(shapely.linearrings(ring))
    corners = shapely.get_coordinates(box)
    if len(corners) < 5:
        return float(shapely.length(box)), 0.0
    sides = np.hypot(*np.diff(corners[:3], axis=0).T)
    return float(sides.max()), float(sides.min())


def thin_vertices(line: EastNorth, /, *, spacing_m: float, tolerance_m: float) -> EastNorth:
    """The line with vertices at least `spacing_m` apart and none that move it by less than `tolerance_m`.

    Vertices are put at equal steps along the line, which rounds what is sharper than the spacing, then those on
    straight pieces go (Douglas and Peucker 1973).
    """
    length_m = float(np.hypot(*np.diff(line, axis=0).T).sum())
    n_steps = max(int(length_m / (spacing_m * 1.02)), 4 if is_closed(line) else 1)
    along = np.linspace(0, length_m, n_steps + 1)
    even = shapely.get_coordinates(shapely.line_interpolate_point(shapely.linestrings(line), along))
    even[0], even[-1] = line[0], line[-1]
    kept = [0]
    for vertex in range(1, n_steps):
        # Around a sharp bend two steps along the line can be nearer than one step to each other.
        near_last, near_end = (np.hypot(*(even[vertex] - even[other])) < spacing_m for other in (kept[-1], n_steps))
        if not near_last and not near_end:
            kept.append(vertex)
    spaced = even[[*kept, n_steps]]
    return np.asarray(shapely.get_coordinates(shapely.simplify(shapely.linestrings(spaced), tolerance_m)))


def is_index(
    elevation_m: NDArray[np.float64], /, *, interval_m: float, base_level_m: float, every: int
) -> NDArray[np.bool_]:
    """(n,) bool: which contours are index contours, counted from the base level."""
    steps = np.round((elevation_m - base_level_m) / interval_m).astype(np.int64)
    return np.asarray(steps % every == 0)


def large_enough(ring: EastNorth, /, *, settings: LandformSettings) -> bool:
    """Whether a closed contour is large enough to be read as a hill or a hollow.

    The standard measures over all; the ring runs in the middle of its line.
    """
    length_mm, width_mm = settings.min_hill_mm if encloses_higher(ring) else settings.min_hollow_mm
    length_m, width_m = ring_size_m(ring)
    line_mm = settings.contour_line_mm
    return length_m >= ground_m(length_mm - line_mm) and width_m >= ground_m(width_mm - line_mm)


def draft_contours(
    surface: Heights,
    surface_grid: Grid,
    seen: Heights,
    ground_support: Heights,
    grid: Grid,
    /,
    *,
    interval_m: float,
    scale: int,
    settings: LandformSettings,
) -> gpd.GeoDataFrame:
    """Contours 101 and index contours 102 of a generalised surface.

    Parameters
    ----------
    surface, surface_grid
        What `pipeline.landform.generalise.generalised_surface` returns.
    seen, ground_support, grid
        How well the ground was seen, 0 to 1, and the metres to the nearest ground return, on the grid of the area.

    Returns
    -------
    GeoDataFrame of features with `elevation_m`; open or closed LineStrings, higher ground on the left.
    """
    levels = contour_levels(surface, interval_m=interval_m, base_level_m=settings.base_level_m)
    traced, traced_at_m = trace_contours(surface, surface_grid, levels)
    keep = [not is_closed(line) or large_enough(line, settings=settings) for line in traced]
    spacing_m = sheet_ground_m(settings.vertex_spacing_mm, scale=scale)
    lines = [
        thin_vertices(line, spacing_m=spacing_m, tolerance_m=settings.vertex_tolerance_m)
        for line, kept in zip(traced, keep, strict=True)
        if kept
    ]
    elevation_m = traced_at_m[keep]
    index = is_index(elevation_m, interval_m=interval_m, base_level_m=settings.base_level_m, every=settings.index_every)
    gap_m = mean_along(ground_support, grid, lines)
    return make_features(
        [shapely.LineString(line) for line in lines],
        crs=grid.crs,
        symbol=["102" if thick else "101" for thick in index],
        confidence=np.clip(mean_along(seen, grid, lines), 0, 1),
        evidence=[
            f"at {height:g} m, ground returns {gap:.1f} m away on average"
            for height, gap in zip(elevation_m, gap_m, strict=True)
        ],
        elevation_m=elevation_m,
    )
