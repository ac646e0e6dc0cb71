"""Cross-profiles along a course: how wide its floor is, how even, and how steep it climbs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString

from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.sampling import bilinear, row_col_between

Numbers = NDArray[np.float64]

APART_M = 1.0
"""Distance between profiles along a course (our choice)."""
ACROSS_M = 0.25
"""Distance between the places of a profile (our choice)."""
HALF_M = 8.0
"""How far a profile reaches to either side: over half of a wide road and its verge (our choice)."""
MEAN_M = 12.0
"""Length along a course over which profiles are averaged before the floor is measured: single ones show lumps (our
choice)."""
EDGE_M = 0.07
"""Height by which the ground leaves the plane of the floor at its edge: more than wheel ruts are deep and less than the
smallest bank that shows in a survey (our choice)."""


@dataclass(frozen=True)
class Sections:
    """Mean cross-profiles along a course.

    Attributes
    ----------
    along_m : (n,) distance from the start of the line
    height_m : (n, k) height above the middle of each profile; from right to left
    floor_m : (n,) width of the floor
    offset_m : (n,) how far to the left of the line the middle of the floor lies
    climb : (n,) gradient along the course, rise over run
    """

    along_m: Numbers
    height_m: Numbers
    floor_m: Numbers
    offset_m: Numbers
    climb: Numbers


def across() -> Numbers:
    """(k,) offsets of the places of a profile, metres to the left."""
    return np.arange(-HALF_M, HALF_M + ACROSS_M / 2, ACROSS_M)


def cut_sections(line: LineString, heights: Heights, grid: Grid, /) -> Sections:
    """The cross-profiles of a course, each the mean of those over MEAN_M around it.

    Parameters
    ----------
    heights : (rows, cols) bare earth, metres, no NaN
    """
    along = np.arange(APART_M / 2, max(line.length, APART_M), APART_M)
    places = shapely.get_coordinates(shapely.line_interpolate_point(line, along))
    ahead = shapely.get_coordinates(shapely.line_interpolate_point(line, np.minimum(along + 2, line.length)))
    behind = shapely.get_coordinates(shapely.line_interpolate_point(line, np.maximum(along - 2, 0)))
    unit = (ahead - behind) / np.maximum(np.hypot(*(ahead - behind).T), 1e-9)[:, None]
    left = np.column_stack((-unit[:, 1], unit[:, 0]))
    offsets = across()
    everywhere = places[:, None] + offsets[None, :, None] * left[:, None]
    row, col = row_col_between(everywhere.reshape(-1, 2), grid)
    height = bilinear(heights, row, col).reshape(len(along), len(offsets))
    middle = len(offsets) // 2
    climb = np.gradient(_over(height[:, [middle]], MEAN_M)[:, 0], APART_M) if len(along) > 1 else np.zeros(len(along))
    mean = _over(height - height[:, [middle]], MEAN_M)
    low, high = _floor(mean, offsets)
    return Sections(along, mean, high - low, (high + low) / 2, climb)


def _over(values: Numbers, length_m: float) -> Numbers:
    """Means along the course; near its ends of as much as there is."""
    half = max(1, round(length_m / 2 / APART_M))
    total = np.concatenate((np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)))
    at = np.arange(len(values))
    first, last = np.maximum(at - half, 0), np.minimum(at + half + 1, len(values))
    return np.asarray((total[last] - total[first]) / (last - first)[:, None])


def _floor(height_m: Numbers, offsets: Numbers) -> tuple[Numbers, Numbers]:
    """Right and left edge of the floor: where the ground leaves the plane through its middle half metre each way."""
    middle = len(offsets) // 2
    near = np.abs(offsets) <= 0.5
    slope = (height_m[:, near] @ offsets[near]) / (offsets[near] @ offsets[near])
    off = np.abs(height_m - slope[:, None] * offsets) > EDGE_M
    off[:, [0, -1]] = True
    left = offsets[middle + np.argmax(off[:, middle:], axis=1)]
    right = offsets[middle - np.argmax(off[:, middle::-1], axis=1)]
    return right, left
