"""Distinct vegetation boundaries (416): where the forest's height steps along a line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy import fft, ndimage

from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.sampling import mean_along
from pipeline.lattice.skeleton import skeleton_lines
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
    for line in skeleton_lines(thick, grid, cut_at_corners=True):
        smooth = shapely.simplify(line, grid.cell_m)
        if smooth.length >= least_length_m:
            found.append(StandEdge(smooth, float(mean_along(step, grid, [shapely.get_coordinates(line)])[0])))
    return sorted(found, key=lambda edge: (-edge.line.length, edge.line.coords[0]))
