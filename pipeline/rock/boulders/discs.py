"""Discs: places on a lattice of heights where nothing low was seen within a radius, smooth, with low ground around."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.compiled import compiled
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.running_sums import RunningSums
from pipeline.lattice.windows import highest_around, lowest_around
from pipeline.rock.boulders.low_returns import BOULDER_MAX_HEIGHT_M, Floats, Labels

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

    @classmethod
    def of(cls, height: Heights, grid: Grid, /) -> Seen:
        """Heights of the lattice's cells, made ready."""
        known = np.isfinite(height)
        clipped = np.nan_to_num(height).clip(-1, BOULDER_MAX_HEIGHT_M)
        low = known & (height < DISC_GROUND_M)
        return cls(grid, height, clipped, RunningSums.of(known), RunningSums.of(low))


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
    row, col = np.nonzero(lowest > DISC_LEAST_M)
    rough, mean = roughness_at(seen.clipped, row, col, max(2, n))
    smooth = rough < ROUGHNESS_M + ROUGHNESS_PER_M * radius_m
    row, col, rough, mean = row[smooth], col[smooth], rough[smooth], mean[smooth]
    inner, outer = (max(1, round((radius_m + d) / cell_m)) for d in RIM_M)
    known = seen.known.between(row, col, inner, outer)
    open_share = seen.low.between(row, col, inner, outer) / np.maximum(known, 1)
    # High, clear of its surroundings and smooth: by height alone a bough beside it would push a disc off a boulder.
    score = np.full(seen.grid.shape, -np.inf, np.float32)
    score[row, col] = np.where(open_share > OPEN_SHARE, mean + CLEAR_M * (open_share - rough), -np.inf)
    apart = max(1, round(0.75 * radius_m / cell_m))
    highest = highest_around(score, apart)[row, col]
    best = np.isfinite(score[row, col]) & (score[row, col] >= highest)
    east, north = seen.grid.centres()
    return east[col[best]], north[row[best]], np.full(best.sum(), radius_m), open_share[best]


def roughness_at(height: Heights, row: Labels, col: Labels, n: int, /) -> tuple[Floats, Floats]:
    """Rms distance from the best quadratic surface, and the mean, in the (2n+1) square window of some cells, (k,) each.

    The six polynomials of Haralick's facet model are orthogonal on a square window, so the residual is the sum of
    squares less the squared projections (Haralick 1984, IEEE PAMI 6(1) 58-68). The window of a cell at the rim holds
    the cells of the rim more than once.
    """
    steps = np.arange(-n, n + 1, dtype=np.float64)
    flat = np.ones_like(steps) / np.sqrt(len(steps))
    tilt = steps / np.sqrt((steps**2).sum())
    bend = steps**2 - (steps**2).mean()
    bend /= np.sqrt((bend**2).sum())
    wide = np.pad(np.asarray(height, np.float32), n, mode="edge")
    left, mean = _projected(wide, row, col, flat, tilt, bend)
    return np.sqrt(np.clip(left, 0, None) / max(len(steps) ** 2 - 6, 1)), mean


@compiled
def _projected(
    wide: Heights, rows: Labels, cols: Labels, flat: Floats, tilt: Floats, bend: Floats
) -> tuple[Floats, Floats]:
    """(k,) twice: what the six projections leave of the sum of squares in the window of each cell, and its mean.

    `wide` goes on by half a window beyond the cells that are counted.
    """
    size = len(flat)
    left, mean = np.empty(len(rows)), np.empty(len(rows))
    for cell in range(len(rows)):
        square = p0 = p1 = p2 = p3 = p4 = p5 = 0.0
        for across in range(size):
            by_flat = by_tilt = by_bend = 0.0
            for down in range(size):
                height = float(wide[rows[cell] + down, cols[cell] + across])
                by_flat += flat[down] * height
                by_tilt += tilt[down] * height
                by_bend += bend[down] * height
                square += height * height
            p0 += flat[across] * by_flat
            p1 += tilt[across] * by_flat
            p2 += flat[across] * by_tilt
            p3 += bend[across] * by_flat
            p4 += flat[across] * by_bend
            p5 += tilt[across] * by_tilt
        left[cell] = square - (p0 * p0 + p1 * p1 + p2 * p2 + p3 * p3 + p4 * p4 + p5 * p5)
        mean[cell] = p0 / size
    return left, mean
