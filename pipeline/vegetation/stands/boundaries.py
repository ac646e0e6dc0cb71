"""Distinct vegetation boundaries (416): where the forest's height steps along a line."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from scipy import fft, ndimage

from pipeline.features import make_features
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.sampling import mean_along
from pipeline.lattice.skeleton import skeleton_lines
from pipeline.norm.symbols import isom
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
LEAST_HEIGHT_M = 4.0
"""Lower growth is no stand; its edges show as open land or undergrowth (our choice)."""
LEAST_LENGTH_M = isom("416").smallest.length_m
"""Shortest 416 on the ground: five dots."""


@dataclass(frozen=True)
class StandEdge:
    """A line along which a higher and a lower stand meet, with the mean difference of their heights."""

    line: shapely.LineString
    step_m: float


def draw_boundaries(canopy_height: Heights, is_forest: Mask, grid: Grid, /, *, least_step_m: float) -> gpd.GeoDataFrame:
    """Distinct vegetation boundaries (416) inside forest; where open land begins the colours show it.

    Parameters
    ----------
    canopy_height : (rows, cols) metres above ground, NaN where unknown
    is_forest : (rows, cols) cells drawn as forest of any band, or not seen
    least_step_m : stands that differ less in height have no distinct boundary
    """
    height, larger = stands_of(np.where(is_forest, canopy_height, np.nan), grid)
    inside = np.pad(height >= LEAST_HEIGHT_M, 1)
    depth_m = ndimage.distance_transform_edt(inside)[1:-1, 1:-1] * larger.cell_m
    # Both sides, as wide as their windows reach, are forest that was seen.
    is_deep = depth_m > 2 * APART_M + CROWN_M / 2
    edges = stand_edges(height_step(height, cell_m=larger.cell_m), is_deep, larger, least_step_m=least_step_m)
    return make_features(
        [edge.line for edge in edges],
        crs=grid.crs,
        symbol="416",
        confidence=[_confidence(edge.step_m) for edge in edges],
        evidence=[f"stands differ by {edge.step_m:.0f} m in height over {edge.line.length:.0f} m" for edge in edges],
        height_m=[edge.step_m for edge in edges],
    )


def _confidence(step_m: float) -> float:
    """0.3 for a step of 7 m, 0.6 from 17 m on: a guess, compared with nothing that mappers drew."""
    return float(np.clip(0.1 + 0.03 * step_m, 0.2, 0.6))


def height_step(height: Heights, /, *, cell_m: float) -> Heights:
    """Greatest difference of mean height between the two sides of a line through each cell, (rows, cols) metres.

    All directions are tried. Each side is a Gaussian of sigma ALONG_M along the line and ACROSS_M across it, APART_M
    away from it.
    """
    margin = int(np.ceil(4 * ALONG_M / cell_m))
    padded = np.pad(height, margin, mode="edge").astype(np.float32)
    shape = tuple(fft.next_fast_len(size, real=True) for size in padded.shape)
    spectrum = np.asarray(fft.rfft2(padded, s=shape), np.complex64)
    north = fft.fftfreq(shape[0]).astype(np.float32)[:, None] / -cell_m
    east = fft.rfftfreq(shape[1]).astype(np.float32)[None, :] / cell_m
    step = np.zeros(padded.shape, np.float32)
    for angle in np.pi * np.arange(DIRECTIONS) / DIRECTIONS:
        along = east * np.cos(angle) + north * np.sin(angle)
        across = north * np.cos(angle) - east * np.sin(angle)
        window = np.exp(np.float32(-2 * np.pi**2) * ((along * ALONG_M) ** 2 + (across * ACROSS_M) ** 2))
        # The difference of the two sides is the window moved one way less the window moved the other.
        sides = window * (2j * np.sin(2 * np.pi * across * APART_M))
        difference = fft.irfft2(spectrum * sides.astype(np.complex64), s=shape, workers=1)
        np.maximum(step, np.abs(difference[: padded.shape[0], : padded.shape[1]]), out=step)
    return step[margin:-margin, margin:-margin]


def stand_edges(step: Heights, is_forest: Mask, grid: Grid, /, *, least_step_m: float) -> list[StandEdge]:
    """Lines along the crests of `step` inside forest, longest first.

    Parameters
    ----------
    step : (rows, cols) of `height_step`, metres
    is_forest : (rows, cols) cells a boundary may run through
    """
    thick = (step >= least_step_m) & is_forest
    found = []
    for line in skeleton_lines(thick, grid, cut_at_corners=True):
        smooth = shapely.simplify(line, grid.cell_m)
        if smooth.length >= LEAST_LENGTH_M:
            found.append(StandEdge(smooth, float(mean_along(step, grid, [shapely.get_coordinates(line)])[0])))
    return sorted(found, key=lambda edge: (-edge.line.length, edge.line.coords[0]))
