"""Discs: places on a lattice of heights where nothing low was seen within a radius, smooth, with low ground around."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy import ndimage

from pipeline.compiled import compiled
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.running_sums import RunningSums
from pipeline.lattice.windows import highest_around, lowest_around
from pipeline.rock.boulders.low_returns import BOULDER_MAX_HEIGHT_M, Floats

DISC_GROUND_M = 0.3
"""Returns lower than this above the ground around lie on the ground or its litter (our choice)."""
DISC_LEAST_M = 0.4
"""Height that every last return inside the top of a boulder must reach: two thirds of the lowest lump looked at."""


@dataclass(frozen=True)
class Seen:
    """What was seen on one lattice, made ready for discs of any radius.

    Attributes
    ----------
    height : (rows, cols) float32, metres; NaN where no return is near
    clipped : `height` cut off below -1 m and above the highest boulder, 0 where it is unknown
    known, low : running sums of the cells known, and of those near the ground
    """

    grid: Grid
    height: Heights
    clipped: Heights
    known: RunningSums
    low: RunningSums
    _roughness: dict[int, tuple[Heights, Heights]] = field(default_factory=dict, repr=False)

    @classmethod
    def of(cls, height: Heights, grid: Grid, /) -> Seen:
        """Heights of the lattice's cells, made ready."""
        known = np.isfinite(height)
        clipped = np.nan_to_num(height).clip(-1, BOULDER_MAX_HEIGHT_M)
        low = known & (height < DISC_GROUND_M)
        return cls(grid, height, clipped, RunningSums.of(known), RunningSums.of(low))

    def roughness(self, n: int, /) -> tuple[Heights, Heights]:
        """As `roughness_of` the clipped heights; discs of two radii may have windows of one size."""
        if n not in self._roughness:
            self._roughness.clear()
            self._roughness[n] = roughness_of(self.clipped, n)
        return self._roughness[n]


INSCRIBED_SHARE = 0.62
"""Half side of the square window that stands for a disc, as a share of its radius. The square inside a circle has
0.71; less leaves out the edge of a boulder, which the width of the beams blurs."""
ROUGHNESS_M, ROUGHNESS_PER_M = 0.3, 0.03
"""A disc is foliage where its heights depart from a smooth surface by more than this (rms), and by so much more for
each metre of its radius: rock shows 0.1 m, boughs 0.3 to 0.5 m."""
RIM_M = (0.25, 1.0)
"""The ring in which a disc's surroundings are looked at: from and to so many metres beyond its radius."""
OPEN_SHARE = 0.2
"""Share of that ring, as far as it was seen, in which the ground must be down (our choice)."""
CLEAR_M = 2.0
"""Of overlapping discs the one with the highest score is kept: mean height in metres, plus this times the share of
open surroundings less the roughness in metres. Lower, a high bough beside a boulder draws the disc away; of the values
tried, 2 centred most discs on the boulders planted in real tiles."""


def discs_of(seen: Seen, radius_m: float, /) -> tuple[Floats, Floats, Floats, Floats]:
    """The discs of one radius that may be tops of boulders, (n,) each: east, north and radius in metres, open share.

    The open share is that of the known cells in a ring around the disc which lie near the ground.
    """
    cell_m = seen.grid.cell_m
    n = max(1, round(INSCRIBED_SHARE * radius_m / cell_m))
    lowest = lowest_around(np.nan_to_num(seen.height, nan=-1.0), n)
    rough, mean = seen.roughness(max(2, n))
    is_disc = (lowest > DISC_LEAST_M) & (rough < ROUGHNESS_M + ROUGHNESS_PER_M * radius_m)
    row, col = np.nonzero(is_disc)
    inner, outer = (max(1, round((radius_m + d) / cell_m)) for d in RIM_M)
    known = seen.known.between(row, col, inner, outer)
    open_share = seen.low.between(row, col, inner, outer) / np.maximum(known, 1)
    # High, clear of its surroundings and smooth: by height alone a bough beside it would push a disc off a boulder.
    score = np.full(seen.grid.shape, -np.inf, np.float32)
    score[row, col] = np.where(
        open_share > OPEN_SHARE, mean[row, col] + CLEAR_M * (open_share - rough[row, col]), -np.inf
    )
    apart = max(1, round(0.75 * radius_m / cell_m))
    highest = highest_around(score, apart)[row, col]
    best = np.isfinite(score[row, col]) & (score[row, col] >= highest)
    east, north = seen.grid.centres()
    return east[col[best]], north[row[best]], np.full(best.sum(), radius_m), open_share[best]


def roughness_of(height: Heights, n: int, /) -> tuple[Heights, Heights]:
    """Rms distance from the best quadratic surface, and the mean, in the (2n+1) square window of every cell.

    The six polynomials of Haralick's facet model are orthogonal on a square window, so the residual is the sum of
    squares less the squared projections (Haralick 1984, IEEE PAMI 6(1) 58-68).
    """
    steps = np.arange(-n, n + 1, dtype=np.float64)
    flat = np.ones_like(steps) / np.sqrt(len(steps))
    tilt = steps / np.sqrt((steps**2).sum())
    bend = steps**2 - (steps**2).mean()
    bend /= np.sqrt((bend**2).sum())
    square, mean = _projected(np.ascontiguousarray(height, np.float32), flat, tilt, bend)
    size = len(steps) ** 2
    left = ndimage.uniform_filter(height * height, len(steps), mode="nearest") * size
    left -= square
    rms: Heights = np.sqrt(np.clip(left, 0, None) / max(size - 6, 1))
    return rms, mean


@compiled
def _projected(height: Heights, flat: Floats, tilt: Floats, bend: Floats) -> tuple[Heights, Heights]:
    """(rows, cols) twice: sum of the squares of the six projections of the window of each cell, and its mean.

    The window of a cell at the rim holds the cells of the rim more than once.
    """
    rows, cols = height.shape
    n = len(flat) // 2
    square, mean = np.empty((rows, cols), np.float32), np.empty((rows, cols), np.float32)
    # The three projections of the columns of one row's windows, with room for n columns beyond either rim.
    by_flat, by_tilt, by_bend = np.empty(cols + 2 * n), np.empty(cols + 2 * n), np.empty(cols + 2 * n)
    for row in range(rows):
        by_flat[:], by_tilt[:], by_bend[:] = 0.0, 0.0, 0.0
        for k in range(-n, n + 1):
            line = height[min(max(row + k, 0), rows - 1)]
            of_flat, of_tilt, of_bend = flat[k + n], tilt[k + n], bend[k + n]
            for col in range(cols):
                by_flat[col + n] += of_flat * line[col]
                by_tilt[col + n] += of_tilt * line[col]
                by_bend[col + n] += of_bend * line[col]
        for by in (by_flat, by_tilt, by_bend):
            by[:n], by[cols + n :] = by[n], by[cols + n - 1]
        for col in range(cols):
            p0 = p1 = p2 = p3 = p4 = p5 = 0.0
            for k in range(2 * n + 1):
                p0 += flat[k] * by_flat[col + k]
                p1 += tilt[k] * by_flat[col + k]
                p2 += flat[k] * by_tilt[col + k]
                p3 += bend[k] * by_flat[col + k]
                p4 += flat[k] * by_bend[col + k]
                p5 += tilt[k] * by_tilt[col + k]
            square[row, col] = p0 * p0 + p1 * p1 + p2 * p2 + p3 * p3 + p4 * p4 + p5 * p5
            mean[row, col] = p0 / (2 * n + 1)
    return square, mean
