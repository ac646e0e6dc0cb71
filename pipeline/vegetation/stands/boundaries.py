"""Distinct vegetation boundaries (416): where the forest's height steps along a line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import fft, ndimage

from pipeline.features import make_features
from pipeline.lattice.grid import Bounds, EastNorth, Grid, Heights, Mask
from pipeline.lattice.sampling import sample
from pipeline.norm.symbols import isom
from pipeline.outlines.simpler import simplify_by_squares
from pipeline.outlines.skeleton import skeleton_lines
from pipeline.vegetation.stands.stand_height import CROWN_M, stands_of

DIRECTIONS = 36
"""Directions a boundary is looked for in: 5 degrees apart, so that the best one is 2.5 degrees off at most, 1 m aside
after 24 m (our choice)."""
ALONG_M = 12.0
"""Sigma along a boundary within which the height of either side is averaged: a third of the shortest 416. Shorter,
single crowns pass for stands; longer, boundaries that bend are lost (our choice)."""
APART_M = 8.0
"""Distance of the middle of either side from the boundary: a crown's width, so that both are stands (our choice)."""
ACROSS_M = APART_M / 2
"""Sigma across a boundary within which the height of either side is averaged: the two sides just do not overlap (our
choice)."""
STAND_M = 20.0
"""Distance from a boundary, in metres, at which the stands on both sides must still differ: three crowns in. A single
crown or a row of them ends before that (our choice)."""
LASTING_RATIO = 0.6
"""Share of the least step by which they must still differ there: stands have gaps (our choice)."""
LEAST_HEIGHT_M = 4.0
"""Lower growth is no stand; its edges show as open land or undergrowth (our choice)."""
LEAST_LENGTH_M = isom("416").smallest.length_m
"""Shortest 416 on the ground: five dots."""


GOES_ON_M = 100.0
"""How far beyond a field its boundaries are followed: past the shortest, and past the blunt end of a strip that is cut
off (our choice)."""
BOUNDARY_SUMS = ("step_m", "step_places")
"""Sum of the differences of height along a boundary, metres, and the number of places that they were taken at."""

Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class StandEdge:
    """A line along which a higher and a lower stand meet.

    Attributes
    ----------
    line : it runs with the higher stand on its left
    places : (n, 2) east, north along it, one a cell
    step_m : (n,) difference of height there
    """

    line: shapely.LineString
    places: EastNorth
    step_m: Numbers


def find_boundaries(
    canopy_height: Heights, is_forest: Mask, grid: Grid, where: Bounds, /, *, least_step_m: float
) -> list[StandEdge]:
    """Distinct vegetation boundaries (416) inside forest; where open land begins the colours show it.

    Parameters
    ----------
    canopy_height : (rows, cols) metres above ground, NaN where unknown
    is_forest : (rows, cols) cells drawn as forest of any band, or not seen
    where : the ground on which they are wanted; beyond it they may be missing
    least_step_m : stands that differ less in height have no distinct boundary
    """
    height, larger = stands_of(np.where(is_forest, canopy_height, np.nan), grid)
    inside = np.pad(height >= LEAST_HEIGHT_M, 1)
    depth_m = ndimage.distance_transform_edt(inside)[1:-1, 1:-1] * larger.cell_m
    # Both sides, as wide as their windows reach, are forest that was seen.
    is_deep = depth_m > 2 * APART_M + CROWN_M / 2
    west, south, east, north = where
    around_m = GOES_ON_M + 4 * ALONG_M + APART_M
    window = larger.window_around((west - around_m, south - around_m, east + around_m, north + around_m))
    part = larger.part(window)
    step = height_step(height[window], cell_m=part.cell_m)
    return stand_edges(step, height[window], is_deep[window], part, least_step_m=least_step_m)


def draw_boundaries(edges: list[StandEdge], crs: str, /) -> gpd.GeoDataFrame:
    """Boundaries as features; what speaks for each is said later, when the pieces of a line are together."""
    return make_features([edge.line for edge in edges], crs=crs, symbol="416", confidence=0.0, evidence="")


def measure_boundaries(
    pieces: NDArray[np.object_], part_of: NDArray[np.int64], edges: list[StandEdge], where: Bounds, /
) -> dict[str, Numbers]:
    """Sum of the differences of height along each piece of a boundary, metres, and the number of places, (n,) each.

    Parameters
    ----------
    pieces : (n,) what of the boundaries is drawn
    part_of : (n,) which of `edges` each piece is of
    where : west and south edge are part of it, east and north edge are not; places beyond it do not count
    """
    sums = np.zeros((2, len(pieces)))
    for number in np.unique(part_of):
        mine, edge = np.flatnonzero(part_of == number), edges[number]
        is_here = ((edge.places >= where[:2]) & (edge.places < where[2:])).all(axis=1)
        away = shapely.distance(pieces[mine][:, None], shapely.points(edge.places[is_here])[None, :])
        piece = np.argmin(away, axis=0)
        sums[0, mine] = np.bincount(piece, edge.step_m[is_here], minlength=len(mine))
        sums[1, mine] = np.bincount(piece, minlength=len(mine))
    return dict(zip(BOUNDARY_SUMS, sums, strict=True))


def describe_boundaries(lines: gpd.GeoDataFrame, sums: Mapping[str, Numbers], /) -> gpd.GeoDataFrame:
    """The boundaries with their evidence, and a confidence of 0.3 for a step of 7 m, 0.6 from 17 m on.

    That is a guess, compared with nothing that mappers drew.

    Parameters
    ----------
    sums : of `measure_boundaries`
    """
    step_m = sums["step_m"] / np.maximum(sums["step_places"], 1)
    pairs = zip(step_m, lines.length, strict=True)
    return lines.assign(
        confidence=np.clip(0.1 + 0.03 * step_m, 0.2, 0.6),
        evidence=[f"stands differ by {step:.0f} m in height over {length:.0f} m" for step, length in pairs],
        height_m=step_m,
    )


def height_step(height: Heights, /, *, cell_m: float) -> Numbers:
    """Greatest difference of mean height between the two sides of a line through each cell, (rows, cols) metres.

    All directions are tried. Each side is a Gaussian of sigma ALONG_M along the line and ACROSS_M across it, APART_M
    away from it. Cells reach 4 ALONG_M and as much as lies aside around them; what lies beyond the grid is bare. In 32
    bits, grids of two sizes would differ by so much that a line ends elsewhere.
    """
    margin = int(np.ceil((4 * ALONG_M + APART_M) / cell_m))
    shape = tuple(fft.next_fast_len(size + margin, real=True) for size in height.shape)
    turned = 1j * fft.rfft2(height.astype(np.float64), s=shape)
    north = fft.fftfreq(shape[0])[:, None] / -cell_m
    east = fft.rfftfreq(shape[1])[None, :] / cell_m
    step = np.zeros(height.shape)
    for angle in np.pi * np.arange(DIRECTIONS) / DIRECTIONS:
        along = east * np.cos(angle) + north * np.sin(angle)
        across = north * np.cos(angle) - east * np.sin(angle)
        window = np.exp(-2 * np.pi**2 * ((along * ALONG_M) ** 2 + (across * ACROSS_M) ** 2))
        # The difference of the two sides is the window moved one way less the window moved the other: its spectrum is
        # the window's times 2j sin(...).
        window *= 2 * np.sin(2 * np.pi * across * APART_M)
        difference = fft.irfft2(turned * window, s=shape, workers=1)
        np.maximum(step, np.abs(difference[: height.shape[0], : height.shape[1]]), out=step)
    return step


def stand_edges(
    step: Numbers, height: Heights, is_forest: Mask, grid: Grid, /, *, least_step_m: float
) -> list[StandEdge]:
    """Lines along the crests of `step` inside forest.

    Parameters
    ----------
    step : (rows, cols) of `height_step`, metres, 64 bit
    height : (rows, cols) of the stand, metres
    is_forest : (rows, cols) cells a boundary may run through
    """
    thick = (step >= least_step_m) & is_forest
    found = []
    for crest in skeleton_lines(thick, grid, cut_at_corners=True):
        places = _higher_on_the_left(shapely.get_coordinates(crest), height, grid)
        line = shapely.LineString(simplify_by_squares(places, grid.cell_m))
        if line.length >= LEAST_LENGTH_M and _lasting_step_m(places, height, grid) >= LASTING_RATIO * least_step_m:
            found.append(StandEdge(line, places, sample(step.astype(np.float32), grid, places)))
    return found


def _lasting_step_m(line: EastNorth, height: Heights, grid: Grid) -> float:
    """By how much the stand `STAND_M` to the left of a line is higher than to its right, the mean along it."""
    aside = STAND_M * _to_the_left(line)
    left, right = (sample(height, grid, line + side) for side in (aside, -aside))
    known = np.isfinite(left) & np.isfinite(right)
    return float((left - right)[known].mean()) if known.any() else 0.0


def _to_the_left(line: EastNorth) -> Numbers:
    """(n, 2) unit vectors square to the line at each place."""
    ahead = np.gradient(line, axis=0)
    left: Numbers = np.column_stack((-ahead[:, 1], ahead[:, 0])) / np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    return left


def _higher_on_the_left(line: EastNorth, height: Heights, grid: Grid) -> EastNorth:
    """The line, turned round where the higher stand is on its right; a ring begins at its westernmost place."""
    if (line[0] == line[-1]).all():
        first = np.lexsort((line[:-1, 1], line[:-1, 0]))[0]
        line = np.concatenate((line[first:-1], line[: first + 1]))
    aside = APART_M * _to_the_left(line)
    left, right = (np.nan_to_num(sample(height, grid, line + side)).sum() for side in (aside, -aside))
    return line if left >= right else line[::-1]
