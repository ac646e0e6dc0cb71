"""Distinct vegetation boundaries (416): where the forest's height steps along a line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import fft, ndimage
from skimage.morphology import skeletonize

from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.windows import highest_around, lowest_around


@dataclass(frozen=True)
class StandEdge:
    """A line along which a higher and a lower stand meet, with the mean difference of their heights."""

    line: shapely.LineString
    step_m: float


def stand_height(canopy_height: Heights, /, *, cell_m: float, crown_m: float) -> Heights:
    """Height of the stand around each cell, metres: gaps narrower than a crown filled, edges where they are."""
    reach = round(crown_m / cell_m / 2)
    highest = lowest_around(highest_around(np.nan_to_num(canopy_height), reach), reach)
    return np.asarray(ndimage.gaussian_filter(highest, crown_m / 2 / cell_m, mode="nearest"), np.float32)


def height_step(
    height: Heights, /, *, cell_m: float, along_m: float, across_m: float, apart_m: float, directions: int
) -> Heights:
    """Greatest difference of mean height between the two sides of a line through each cell, metres.

    All directions are tried. Each side is a Gaussian of sigma `along_m` along the line and `across_m` across it,
    `apart_m` away from it.
    """
    margin = int(np.ceil(4 * along_m / cell_m))
    padded = np.pad(height, margin, mode="edge").astype(np.float32)
    shape = tuple(fft.next_fast_len(size, real=True) for size in padded.shape)
    spectrum = np.asarray(fft.rfft2(padded, s=shape), np.complex64)
    north = fft.fftfreq(shape[0]).astype(np.float32)[:, None] / -cell_m
    east = fft.rfftfreq(shape[1]).astype(np.float32)[None, :] / cell_m
    step = np.zeros(padded.shape, np.float32)
    for angle in np.pi * np.arange(directions) / directions:
        along = east * np.cos(angle) + north * np.sin(angle)
        across = north * np.cos(angle) - east * np.sin(angle)
        window = np.exp(np.float32(-2 * np.pi**2) * ((along * along_m) ** 2 + (across * across_m) ** 2))
        # The difference of the two sides is the window moved one way less the window moved the other.
        sides = window * (2j * np.sin(2 * np.pi * across * apart_m))
        difference = fft.irfft2(spectrum * sides.astype(np.complex64), s=shape, workers=1)
        np.maximum(step, np.abs(difference[: padded.shape[0], : padded.shape[1]]), out=step)
    return step[margin:-margin, margin:-margin]


def stand_edges(
    step: Heights, is_forest: Mask, grid: Grid, /, *, least_step_m: float, least_length_m: float
) -> list[StandEdge]:
    """Lines along the crests of `step` inside forest, longest first."""
    thick = (step >= least_step_m) & is_forest
    found = []
    skeleton: Mask = skeletonize(thick)  # type: ignore[no-untyped-call]
    for line in _lines_of(skeleton, grid):
        smooth = shapely.simplify(line, grid.cell_m)
        if smooth.length >= least_length_m:
            found.append(StandEdge(smooth, _mean_along(step, line, grid)))
    return sorted(found, key=lambda edge: (-edge.line.length, edge.line.coords[0]))


def _lines_of(skeleton: Mask, grid: Grid) -> NDArray[np.object_]:
    """The lines of a one-cell-wide drawing, cut at its forks."""
    east, north = grid.centres()
    pairs = []
    for rows, cols in ((0, 1), (1, 0), (1, 1), (1, -1)):
        other = np.roll(skeleton, (-rows, -cols), axis=(0, 1))
        if rows:
            other[-rows:] = False
        if cols:
            other[:, slice(-cols, None) if cols > 0 else slice(None, -cols)] = False
        row, col = np.nonzero(skeleton & other)
        start = np.column_stack((east[col], north[row]))
        end = np.column_stack((east[col + cols], north[row + rows]))
        pairs.append(np.stack((start, end), axis=1))
    segments = np.concatenate(pairs)
    if not len(segments):
        return np.empty(0, np.object_)
    merged = shapely.line_merge(shapely.union_all(shapely.linestrings(segments)))
    return np.asarray(shapely.get_parts(merged), np.object_)


def _mean_along(values: Heights, line: shapely.LineString, grid: Grid) -> float:
    places = shapely.get_coordinates(line)
    row, col = grid.row_col(places[:, 0], places[:, 1])
    return float(values[row, col].mean())
