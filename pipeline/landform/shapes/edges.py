"""Narrow lines in the ground: where a ridge, a furrow or a step runs, and how high it is measured square to it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.landform.lines.line_pieces import SymbolsOf, measured_pieces, nearest_means, nearest_numbers
from pipeline.landform.lines.squares import SQUARE_M, from_lowest
from pipeline.landform.shapes.surroundings import LEAST_UNEVENNESS_M, usual_size
from pipeline.lattice.fill import fill_voids
from pipeline.lattice.grid import EastNorth, Grid, Heights, Mask
from pipeline.lattice.sampling import bilinear, sample
from pipeline.norm.symbols import isom
from pipeline.outlines.simpler import simplify_by_squares
from pipeline.outlines.skeleton import rounded, skeleton_lines

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


LINE_SCALE_M = 1.2
"""Standard deviation of the smoothing before lines are sought, in metres: a third of the narrowest, enough against the
noise of lidar (our choice)."""


def _derivatives(heights: Heights, grid: Grid, /, *, orders: Sequence[tuple[int, int]]) -> list[Floats]:
    """Derivatives of the smoothed heights by north and east.

    Rows run southwards, so odd orders by north change sign.
    """
    filled, _ = fill_voids(heights)
    sigma = LINE_SCALE_M / grid.cell_m
    return [
        np.asarray(
            (-1) ** north
            * ndimage.gaussian_filter(filled.astype(np.float64), sigma, order=(north, east), mode="nearest")
            / grid.cell_m ** (north + east)
        )
        for north, east in orders
    ]


MAX_ALONG_BEND_SHARE = 0.5
"""How much the ground may bend along a furrow or ridge, as a share of its bend across: round hollows and knolls bend
alike both ways (our choice)."""


def furrow_axes(heights: Heights, grid: Grid, /) -> Strip:
    """Cells where the ground is most sharply hollow square to some direction: the bottoms of furrows.

    For the tops of ridges pass the heights with their sign turned. Ground that is about as hollow in all directions is
    a round hollow and left out.

    Source
    ------
    Steger (1998), An unbiased detector of curvilinear structures, doi:10.1109/34.659930: the greatest second derivative
    of the smoothed surface, largest along its own direction.
    """
    nn, ee, ne = _derivatives(heights, grid, orders=[(2, 0), (0, 2), (1, 1)])
    middle, spread = (ee + nn) / 2, np.hypot((ee - nn) / 2, ne)
    strength = middle + spread
    angle = 0.5 * np.arctan2(2 * ne, ee - nn)
    is_line = (strength > 0) & (np.abs(middle - spread) <= MAX_ALONG_BEND_SHARE * strength)
    return _crest(strength, np.cos(angle), np.sin(angle), is_line & ~np.isnan(heights))


def step_axes(heights: Heights, grid: Grid, /) -> Strip:
    """Cells where the slope is steepest along its own direction: the middles of steps. The normal points uphill."""
    north, east = _derivatives(heights, grid, orders=[(1, 0), (0, 1)])
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


def contrast(size: Floats, strip: Strip, grid: Grid, /, *, least: float) -> Floats:
    """(n,) size of each cell, in metres or as a rise, over what such cells usually measure round about.

    Natural ground is full of slight furrows and steps; only one that stands out from its surroundings is a feature.
    Even ground counts as measuring `least`.
    """
    # Cells that are no such line at all say nothing about how high such lines usually are; the few that stand out far
    # count as three times the median, so that they are not compared with themselves.
    measured = np.isfinite(size)
    sizes, cells = np.zeros(grid.shape), np.zeros(grid.shape, bool)
    row, col = strip.row[measured], strip.col[measured]
    sizes[row, col], cells[row, col] = np.abs(size[measured]), True
    usual = usual_size(sizes, cells, grid, most=3.0, least=least)[strip.row, strip.col]
    return np.asarray(np.nan_to_num(size) / np.maximum(usual, least))


@dataclass(frozen=True)
class Axes:
    """Lines found, with what was measured along them.

    Attributes
    ----------
    lines : list of n (k, 2) float64
        About one vertex a cell.
    height_m, width_m : lists of n (k,) float64
        At each vertex the median of the stretch of line around it.
    """

    lines: list[EastNorth]
    height_m: list[Floats]
    width_m: list[Floats]

    def numbers(self) -> tuple[EastNorth, dict[str, Floats]]:
        """The vertices of all lines, and the height and width at each."""
        if not self.lines:
            return np.empty((0, 2)), {"height": np.empty(0), "width": np.empty(0)}
        return np.concatenate(self.lines), {
            "height": np.concatenate(self.height_m),
            "width": np.concatenate(self.width_m),
        }


LINE_BRIDGE_M = 4.0
"""Longest gap in a bank, wall or gully that is drawn across (our choice)."""
STRETCH_M = 40.0
"""How far to either side along a line its height, width and contrast are taken together, and its length counts, in
metres: enough for the median to hold, and little enough for the margin of a field (our choice)."""


def join_axes(
    strip: Strip,
    height_m: Floats,
    width_m: Floats,
    stands_out: Floats,
    grid: Grid,
    /,
    *,
    min_length_m: float,
    min_contrast: float,
    bridge_m: float = LINE_BRIDGE_M,
) -> Axes:
    """Lines through the cells of a strip, short gaps closed, side branches and short lines dropped.

    Each place of a line is judged by the stretch of `STRETCH_M` to either side of it and not by the whole line, whose
    other end another field may draw.

    Parameters
    ----------
    stands_out : (n,) float64
        Contrast of each cell.
    min_contrast : float
        Median contrast a line of the least length must have; a line four times as long needs half of it, since chance
        rarely lines up.
    bridge_m : float
        Gaps up to this are closed; lines as near to each other become one.
    """
    mask = np.zeros(grid.shape, bool)
    mask[strip.row, strip.col] = True
    reach = math.ceil(bridge_m / 2 / grid.cell_m)
    disc = np.hypot(*np.mgrid[-reach : reach + 1, -reach : reach + 1]) <= bridge_m / 2 / grid.cell_m + 0.3
    whole = skeleton_lines(ndimage.binary_dilation(mask, disc), grid, cut_at_corners=False)
    ways = [shapely.get_coordinates(line) for line in whole if line.length >= min_length_m]
    found = Axes([], [], [])
    if not ways:
        return found
    cells = np.column_stack([strip.row, strip.col]).astype(np.float64)
    measured = np.column_stack([height_m, width_m, stands_out])
    reach = round(STRETCH_M / grid.cell_m / 2**0.5)
    for way in (from_lowest(way) if np.array_equal(way[0], way[-1]) else way for way in ways):
        table = nearest_means(cells, measured, np.column_stack(grid.row_col(way[:, 0], way[:, 1])).astype(np.float64))
        median = ndimage.median_filter(table, size=(2 * reach + 1, 1), mode="reflect")
        along_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(way, axis=0).T))])
        around_m = np.minimum(along_m, STRETCH_M) + np.minimum(along_m[-1] - along_m, STRETCH_M)
        holds = median[:, 2] * np.sqrt(around_m / min_length_m) >= min_contrast
        smooth = np.round(rounded(way), 3)
        edges = np.flatnonzero(np.diff(np.concatenate([[False], holds, [False]])))
        for first, last in edges.reshape(-1, 2):
            if along_m[last - 1] - along_m[first] >= min_length_m:
                found.lines.append(smooth[first:last])
                found.height_m.append(median[first:last, 0])
                found.width_m.append(median[first:last, 1])
    return found


THINNED_M = 0.15
"""How far a line drawn through cells may leave them where vertices are dropped, in metres: far less than its own width
(our choice)."""


def thinned(line: EastNorth, /) -> EastNorth:
    """The line with the vertices it needs, the same in each square whatever the rest of the line."""
    return np.asarray(simplify_by_squares(line, THINNED_M, square_m=SQUARE_M))


HALF_SURE_HEIGHT_M = 5 * LEAST_UNEVENNESS_M
"""Height or depth of a bank, wall or gully at which half the confidence is gone; higher ones lose less. Our choice:
nobody has measured how often a mapper keeps such lines."""
HALF_SURE_LENGTH_M = isom("107").smallest.length_m / 2
"""Length at which half the confidence is gone, on the ground: half the shortest gully. Our choice, not measured."""


def line_confidence(height_m: Floats, length_m: Floats, /) -> Floats:
    """(n,) 0..1: higher and longer lines are less likely to be chance."""
    tall = height_m / (height_m + HALF_SURE_HEIGHT_M)
    long = length_m / (length_m + HALF_SURE_LENGTH_M)
    return np.asarray(tall * long, np.float64)


def draw_axes(axes: Axes, seen: Heights, seen_grid: Grid, /, *, crs: str, symbol: str | SymbolsOf) -> gpd.GeoDataFrame:
    """The pieces of lines (`landform.lines.line_pieces`) with sums of height, width and how well they were seen."""
    nearest = nearest_numbers(*axes.numbers())

    def numbers_at(places: EastNorth) -> dict[str, Floats]:
        return nearest(places) | {"seen": np.nan_to_num(sample(seen, seen_grid, places))}

    return measured_pieces(
        [thinned(line) for line in axes.lines],
        numbers_at=numbers_at,
        crs=crs,
        symbol=[symbol] * len(axes.lines) if isinstance(symbol, str) else symbol,
    )
