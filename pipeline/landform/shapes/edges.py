"""Narrow lines in the ground: where a ridge, a furrow or a step runs, and how high it is measured square to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from pipeline.lattice.fill import fill_voids
from pipeline.lattice.grid import EastNorth, Grid, Heights, Mask
from pipeline.lattice.means import Known, square_window
from pipeline.lattice.sampling import bilinear
from pipeline.lattice.skeleton import rounded, skeleton_lines

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Strip:
    """Cells that lie on the axis of a narrow line.

    Attributes
    ----------
    row, col : (n,) int64
    normal : (n, 2) float64
        Unit vector square to the line, east and north; for steps it points uphill.
    """

    row: NDArray[np.int64]
    col: NDArray[np.int64]
    normal: EastNorth

    def where(self, chosen: Mask, /) -> Strip:
        """The chosen cells."""
        return Strip(self.row[chosen], self.col[chosen], self.normal[chosen])


def _derivatives(heights: Heights, grid: Grid, /, *, scale_m: float, orders: Sequence[tuple[int, int]]) -> list[Floats]:
    """Derivatives of the smoothed heights by north and east.

    Rows run southwards, so odd orders by north change sign.
    """
    filled, _ = fill_voids(heights)
    sigma = scale_m / grid.cell_m
    return [
        np.asarray(
            (-1) ** north
            * ndimage.gaussian_filter(filled.astype(np.float64), sigma, order=(north, east), mode="nearest")
            / grid.cell_m ** (north + east)
        )
        for north, east in orders
    ]


def furrow_axes(heights: Heights, grid: Grid, /, *, scale_m: float, max_along_share: float) -> Strip:
    """Cells where the ground is most sharply hollow square to some direction: the bottoms of furrows.

    For the tops of ridges pass the heights with their sign turned. Along itself a furrow may be hollow by
    `max_along_share` of that: round hollows are alike in all directions.

    Source
    ------
    Steger (1998), An unbiased detector of curvilinear structures, doi:10.1109/34.659930: the greatest second derivative
    of the smoothed surface, largest along its own direction.
    """
    nn, ee, ne = _derivatives(heights, grid, scale_m=scale_m, orders=[(2, 0), (0, 2), (1, 1)])
    middle, spread = (ee + nn) / 2, np.hypot((ee - nn) / 2, ne)
    strength = middle + spread
    angle = 0.5 * np.arctan2(2 * ne, ee - nn)
    is_line = (strength > 0) & (np.abs(middle - spread) <= max_along_share * strength)
    return _crest(strength, np.cos(angle), np.sin(angle), is_line & ~np.isnan(heights))


def step_axes(heights: Heights, grid: Grid, /, *, scale_m: float) -> Strip:
    """Cells where the slope is steepest along its own direction: the middles of steps. The normal points uphill."""
    north, east = _derivatives(heights, grid, scale_m=scale_m, orders=[(1, 0), (0, 1)])
    rise = np.hypot(east, north)
    known = (rise > 0) & ~np.isnan(heights)
    return _crest(rise, east / np.maximum(rise, 1e-9), north / np.maximum(rise, 1e-9), known)


def _crest(strength: Floats, east: Floats, north: Floats, mask: Mask) -> Strip:
    """Cells whose strength is not exceeded one cell to either side along the normal."""
    row, col = np.nonzero(mask)
    normal = np.column_stack([east[row, col], north[row, col]])
    beside = [bilinear(strength, row - sign * normal[:, 1], col + sign * normal[:, 0]) for sign in (-1, 1)]
    own = strength[row, col]
    largest = (own >= beside[0]) & (own >= beside[1])
    return Strip(row[largest], col[largest], normal[largest])


def profile(heights: Heights, grid: Grid, strip: Strip, offsets_m: Sequence[float], /) -> Floats:
    """(n, k) heights at distances along the normal of each cell; NaN beyond the edge and in voids."""
    away = np.asarray(offsets_m, np.float64) / grid.cell_m
    row = strip.row[:, None] - strip.normal[:, 1:] * away
    col = strip.col[:, None] + strip.normal[:, :1] * away
    return bilinear(heights, row, col, beyond=np.nan)


def contrast(size: Floats, strip: Strip, grid: Grid, /, *, reach_m: float, least: float) -> Floats:
    """(n,) size of each cell, in metres or as a rise, over what such cells usually measure within `reach_m`.

    Natural ground is full of slight furrows and steps; only one that stands out from its surroundings is a feature.
    Even ground counts as measuring `least`.
    """
    # Cells that are no such line at all say nothing about how high such lines usually are.
    measured = np.isfinite(size)
    known = np.abs(size[measured])
    usual_part = np.minimum(known, 3 * max(float(np.median(known)) if len(known) else 0.0, least))
    sizes, cells = np.zeros(grid.shape), np.zeros(grid.shape, bool)
    row, col = strip.row[measured], strip.col[measured]
    sizes[row, col], cells[row, col] = usual_part, True
    window = square_window(2 * round(reach_m / grid.cell_m) + 1, rim="constant")
    usual = Known.of(cells, window).mean(sizes, least_share=1e-9)[strip.row, strip.col]
    return np.asarray(np.nan_to_num(size) / np.maximum(usual, least))


@dataclass(frozen=True)
class Axes:
    """Lines found, with what was measured along them.

    Attributes
    ----------
    lines : list of n LineStrings
    height_m, width_m : (n,) float64
        Medians along each line.
    """

    lines: list[shapely.LineString]
    height_m: Floats
    width_m: Floats


def join_axes(
    strip: Strip,
    height_m: Floats,
    width_m: Floats,
    stands_out: Floats,
    grid: Grid,
    /,
    *,
    bridge_m: float,
    min_length_m: float,
    min_contrast: float,
) -> Axes:
    """Lines through the cells of a strip, gaps up to `bridge_m` closed, side branches and short lines dropped.

    Parameters
    ----------
    stands_out : (n,) float64
        Contrast of each cell.
    min_contrast : float
        Median contrast a line of the least length must have; a line four times as long needs half of it, since chance
        rarely lines up.
    """
    mask = np.zeros(grid.shape, bool)
    mask[strip.row, strip.col] = True
    reach = max(1, round(bridge_m / 2 / grid.cell_m))
    disc = np.hypot(*np.mgrid[-reach : reach + 1, -reach : reach + 1]) <= reach + 0.3
    whole = skeleton_lines(ndimage.binary_dilation(mask, disc), grid, cut_at_corners=False)
    lines = [line for line in map(_rounded, whole) if line.length >= min_length_m]
    if not lines:
        return Axes([], np.empty(0), np.empty(0))
    nearest = cKDTree(np.column_stack([strip.row, strip.col]))
    measured = np.column_stack([height_m, width_m, stands_out])
    table = np.array([np.median(measured[nearest.query(_cells_of(line, grid))[1]], axis=0) for line in lines])
    lengths_m = np.array([line.length for line in lines])
    kept = np.flatnonzero(table[:, 2] * np.sqrt(lengths_m / min_length_m) >= min_contrast)
    return Axes([lines[number] for number in kept], table[kept, 0], table[kept, 1])


def _cells_of(line: shapely.LineString, grid: Grid) -> NDArray[np.int64]:
    """(n, 2) row and column of each vertex."""
    places = shapely.get_coordinates(line)
    return np.column_stack(grid.row_col(places[:, 0], places[:, 1]))


def _rounded(line: shapely.LineString) -> shapely.LineString:
    """The line smoothed over about three vertices, its ends kept, two steps to a vertex."""
    smooth = rounded(shapely.get_coordinates(line))
    return shapely.LineString(np.concatenate([smooth[:-1:2], smooth[-1:]]))
