"""Lumps: discs of smooth last returns above the ground around, through which no pulse has come.

Grids of bare earth lose boulders and ground filters drop them with the bushes, so lumps are looked for in the last
returns themselves, whatever class they were given. The ground below a lump is first taken from a morphological
opening (what is narrower than the widest boulder is cut off); `pipeline.rock.boulders.evidence` measures it again in a
ring.
Discs of several radii are tried, rather than connected groups, because boughs that touch a boulder would join it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree
from skimage.filters import rank

from pipeline.lattice.fill import fill_nearest
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import lowest_into
from pipeline.lattice.means import Known, gaussian_window
from pipeline.lattice.per_cell import count_in_cells, lowest_in_cells, sum_in_cells
from pipeline.lattice.running_sums import RunningSums
from pipeline.lattice.sampling import bilinear, row_col_between
from pipeline.lattice.windows import highest_around, lowest_around
from pipeline.returns.cloud import Cloud

BOULDER_MAX_WIDTH_M = 9.0
"""Widest lump that can be one boulder; wider rises belong to the ground (common practice, no source)."""
BOULDER_MAX_HEIGHT_M = 6.0
"""Highest boulder looked for; returns above are crowns to this step."""
DISC_GROUND_M = 0.3
"""Returns lower than this above the ground around lie on the ground or its litter."""
DISC_LEAST_M = 0.4
"""Lowest last return inside the top of a boulder: two thirds of the least height."""
DISC_ROUGHNESS_M = 0.3
"""A disc rougher than this is foliage; rock shows 0.1, boughs 0.3 to 0.5."""
DISC_OPEN_SHARE = 0.2
"""Share of a lump's surroundings in which the ground must be down."""

Floats = NDArray[np.float64]
Labels = NDArray[np.int64]

TREND_SIGMA_M = 4.0
"""Smoothing of the slope that is taken off before the opening: a boulder of 2 m that a filter kept as ground bends it
by a tenth of its height."""
FILL_M = 2.0
"""How far the lowest return of a cell may stand in for an empty neighbour."""
FINE_FILL = 1.8
"""The same between the returns of a lump, in cells of the survey's grid: the farthest a place in
forest lies from a last return when a third of the pulses reach down (arithmetic)."""
DISC_RADII_M = (0.6, 0.9, 1.4, 2.1, 3.2, 4.4)
"""Radii of the discs tried: half-octaves from the smallest boulder that is drawn to the widest."""
TWIG_CELLS = 5
"""Window, in fine cells, in which a lone high return is cut down to the middle height around it: as wide as the
smallest disc, so that a twig over a rock is cut and a rock is not."""
COARSE_FROM_M = 2.0
"""Discs from this radius are looked for on cells twice as wide, which is four times as quick."""
INSCRIBED = 0.62
"""Half side of the square window of a disc; 0.71 would be inscribed, less leaves the blurred edge out."""
CLEAR_M = 2.0
"""Height that surroundings all at ground level count for where discs beside each other are compared, a metre of
roughness as much against: of what was tried, this centred most discs on boulders (measured on planted tiles)."""
RIM_M = (0.25, 1.0)
"""The ring in which a disc's surroundings are looked at, beyond its radius."""
OUTLINES_PER_RADIUS = (1.15, 1.45)
"""Outlines in which the returns of a disc are gathered; discs are half an octave apart, so the edge lies between."""


@dataclass(frozen=True)
class LowReturns:
    """Returns near the ground, all of length n.

    Attributes
    ----------
    east, north, height : (n,) float64, metres
    above_m : (n,) float64, metres
        Height above the opened ground; NaN where no ground is known.
    is_last : (n,) bool
    flight_line : (n,) uint16
    """

    east: Floats
    north: Floats
    height: Floats
    above_m: Floats
    is_last: NDArray[np.bool_]
    flight_line: NDArray[np.uint16]

    @cached_property
    def tree(self) -> cKDTree:
        """Index of the places, made once."""
        return cKDTree(np.column_stack((self.east, self.north)), balanced_tree=False, compact_nodes=False)

    def take(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> LowReturns:
        """The chosen returns."""
        return LowReturns(
            self.east[which],
            self.north[which],
            self.height[which],
            self.above_m[which],
            self.is_last[which],
            self.flight_line[which],
        )


@dataclass(frozen=True)
class Lumps:
    """Lumps found, all of length k, each described by an ellipse.

    Attributes
    ----------
    east, north : (k,) float64, metres
    shape_m2 : (k, 2, 2) float64
        Matrix of the outline: a place lies inside where d' shape^-1 d < 1.
    open_share : (k,) float64
        Share of what is known around the lump that lies near the ground.
    """

    east: Floats
    north: Floats
    shape_m2: Floats
    open_share: Floats

    def __len__(self) -> int:
        return len(self.east)

    @property
    def half_axes_m(self) -> Floats:
        """(k, 2) half axes of the outline, short then long."""
        axes: Floats = np.sqrt(np.linalg.eigvalsh(self.shape_m2))
        return axes

    def take(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Lumps:
        """The chosen lumps."""
        return Lumps(self.east[which], self.north[which], self.shape_m2[which], self.open_share[which])


def low_returns(cloud: Cloud, height_above_m: NDArray[np.float32], grid: Grid, /) -> LowReturns:
    """The returns of the grid up to the height of the highest boulder, with their height above the opened ground."""
    above = np.asarray(height_above_m, np.float64)
    # Returns far below the given ground are noise; a filter that cut a hollow short is forgiven a boulder's height.
    is_low = cloud.is_usable & (above < BOULDER_MAX_HEIGHT_M) & (above > -BOULDER_MAX_HEIGHT_M)
    is_low &= grid.contains(cloud.east, cloud.north)
    east, north, height = cloud.east[is_low], cloud.north[is_low], cloud.height[is_low]
    is_last = cloud.is_last[is_low]
    ground = opened_ground(east, north, height, height - above[is_low], is_last, grid)
    above_m = height - bilinear(ground, *row_col_between(np.column_stack((east, north)), grid))
    return LowReturns(east, north, height, above_m, is_last, cloud.flight_line[is_low])


def opened_ground(
    east: Floats, north: Floats, height: Floats, bare_earth_m: Floats, is_last: NDArray[np.bool_], grid: Grid, /
) -> Heights:
    """The lowest surface with everything narrower than the widest boulder cut off.

    Parameters
    ----------
    east, north, height, bare_earth_m : (n,) float64, metres
        Returns and the filter's bare earth below each, used for the slope only: a boulder kept as ground bends it a
        little but does not hide.

    Returns
    -------
    (rows, cols) float32, metres; NaN where no return is near.

    Source
    ------
    Opening of the lowest returns: Zhang et al. (2003), IEEE TGRS 41(4) 872-882; we open what is left after the slope
    is taken off, as openings fail on slopes.
    """
    trend = _smooth_mean(bare_earth_m, grid.cell_index(east, north), grid)
    lowest = lowest_in_cells(grid.cell_index(east[is_last], north[is_last]), height[is_last], grid.shape)
    left = fill_nearest(lowest - trend, reach_cells=FILL_M / grid.cell_m)
    left = ndimage.median_filter(left, 3, mode="nearest")  # single low returns (multipath) must not decide
    half_side = math.ceil(BOULDER_MAX_WIDTH_M / 2 / grid.cell_m)
    eroded = lowest_around(np.where(np.isnan(left), np.inf, left), half_side)
    opened = highest_around(np.where(np.isinf(eroded), -np.inf, eroded), half_side)
    return np.where(np.isfinite(opened), opened + trend, np.nan).astype(np.float32)


def _smooth_mean(values: Floats, cell: Labels, grid: Grid) -> Floats:
    """Gaussian-weighted mean of the values around each cell; NaN beyond the reach of two sigma."""
    count = count_in_cells(cell, grid.shape)
    offset = float(values.mean()) if len(values) else 0.0
    total = sum_in_cells(cell, values - offset, grid.shape)
    mean = np.divide(total, count, out=np.zeros_like(total), where=count > 0)
    window = gaussian_window(TREND_SIGMA_M / grid.cell_m, rim="reflect", truncate=2.0)
    known = Known.of(count > 0, window)
    return np.where(known.share > 1e-6, known.mean(mean) + offset, np.nan)


def find_lumps(low: LowReturns, grid: Grid, /) -> Lumps:
    """Every disc that may be the top of a boulder: nothing low inside, smooth, some of its surroundings low.

    The lowest last return of each fine cell (a half or a quarter of the grid's) decides, so one pulse that came
    through to the ground breaks a disc, and twigs over a boulder do not hide it.
    """
    fine = _finer(grid, 2 if grid.cell_m <= 0.5 else 4)
    seen = low.is_last & np.isfinite(low.above_m) & (low.above_m < BOULDER_MAX_HEIGHT_M)
    cell = fine.cell_index(low.east[seen], low.north[seen])
    lowest = lowest_in_cells(cell, low.above_m[seen], fine.shape)
    lowest = fill_nearest(lowest, reach_cells=FINE_FILL * grid.cell_m / fine.cell_m)
    near = Seen.of(_without_twigs(lowest), fine)
    wide = _finer(grid, 1 if grid.cell_m <= 0.5 else 2)
    far = Seen.of(lowest_into(near.height, fine, wide, 2), wide)
    parts = [_discs(far if radius >= COARSE_FROM_M else near, radius) for radius in DISC_RADII_M]
    east, north, radius, open_share = (np.concatenate(column) for column in zip(*parts, strict=True))
    times = len(OUTLINES_PER_RADIUS)
    outer = np.concatenate([share * radius for share in OUTLINES_PER_RADIUS])
    outline = outer[:, None, None] ** 2 * np.eye(2)
    return Lumps(np.tile(east, times), np.tile(north, times), outline, np.tile(open_share, times))


def _without_twigs(height: Floats) -> Heights:
    """The height, nowhere above the middle height of the cells around; low places stay as they are, gaps too.

    A twig over a rock stops a pulse or two; what lies below it is met by those beside them. Middle heights are taken
    in whole centimetres, finer than any return is ranged, which is twice as quick.
    """
    known = np.isfinite(height)
    whole_cm = np.round(100 * np.where(known, height, 0).clip(0)).astype(np.uint16)
    around = np.ones((TWIG_CELLS, TWIG_CELLS), np.uint8)
    middle = rank.median(whole_cm, around) / np.float32(100)  # type: ignore[no-untyped-call]
    cut: Heights = np.where(known, np.minimum(height, middle), np.nan).astype(np.float32)
    return cut


def _finer(grid: Grid, times: int) -> Grid:
    """The grid with cells a whole number of times smaller."""
    return Grid(
        grid.crs,
        grid.west_col * times,
        grid.north_row * times,
        grid.cell_m / times,
        grid.rows * times,
        grid.cols * times,
    )


@dataclass(frozen=True)
class Seen:
    """What was seen on one lattice, made ready for discs of any radius.

    Attributes
    ----------
    height : (rows, cols) float32, metres; NaN where no return is near
    clipped : the same between -1 m and the height of the highest boulder, 0 where it is unknown
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


def _discs(seen: Seen, radius_m: float) -> tuple[Floats, Floats, Floats, Floats]:
    """East, north, radius and open share of the discs of one radius."""
    cell_m = seen.grid.cell_m
    n = max(1, round(INSCRIBED * radius_m / cell_m))
    lowest = lowest_around(np.nan_to_num(seen.height, nan=-1.0), n)
    rough, mean = _roughness(seen.clipped, max(2, n))
    is_disc = (lowest > DISC_LEAST_M) & (rough < DISC_ROUGHNESS_M + 0.03 * radius_m)
    row, col = np.nonzero(is_disc)
    inner, outer = (max(1, round((radius_m + d) / cell_m)) for d in RIM_M)
    known = seen.known.between(row, col, inner, outer)
    open_share = seen.low.between(row, col, inner, outer) / np.maximum(known, 1)
    # High, clear of its surroundings and smooth: by height alone a bough beside it would push a disc off a boulder.
    score = np.full(seen.grid.shape, -np.inf, np.float32)
    score[row, col] = np.where(
        open_share > DISC_OPEN_SHARE, mean[row, col] + CLEAR_M * (open_share - rough[row, col]), -np.inf
    )
    apart = max(1, round(0.75 * radius_m / cell_m))
    highest = highest_around(score, apart)[row, col]
    best = np.isfinite(score[row, col]) & (score[row, col] >= highest)
    east, north = seen.grid.centres()
    return east[col[best]], north[row[best]], np.full(best.sum(), radius_m), open_share[best]


def _roughness(height: Heights, n: int) -> tuple[Heights, Heights]:
    """Rms distance from the best quadratic surface, and the mean, in the (2n+1) square window of every cell.

    The six polynomials of Haralick's facet model are orthogonal on a square window, so the residual is the sum of
    squares less the squared projections (Haralick 1984, IEEE PAMI 6(1) 58-68).
    """
    steps = np.arange(-n, n + 1, dtype=np.float64)
    flat = np.ones_like(steps) / np.sqrt(len(steps))
    tilt = steps / np.sqrt((steps**2).sum())
    bend = steps**2 - (steps**2).mean()
    bend /= np.sqrt((bend**2).sum())
    by_row = {0: _convolve(height, flat, 0), 1: _convolve(height, tilt, 0), 2: _convolve(height, bend, 0)}
    shapes = ((0, flat), (0, tilt), (1, flat), (0, bend), (2, flat), (1, tilt))
    found = [_convolve(by_row[key], along, 1) for key, along in shapes]
    size = len(steps) ** 2
    left = ndimage.uniform_filter(height * height, len(steps), mode="nearest") * size
    mean: Heights = (found[0] / len(steps)).astype(np.float32)
    for projection in found:
        left -= np.multiply(projection, projection, out=projection)
    rms: Heights = np.sqrt(np.clip(left, 0, None) / max(size - 6, 1))
    return rms, mean


def _convolve(values: Heights, kernel: Floats, axis: int) -> Heights:
    found: Heights = ndimage.correlate1d(values, kernel, axis=axis, mode="nearest")
    return found


def outline_of(lump: Labels, east: Floats, north: Floats, n: int, /) -> tuple[Floats, Floats, Floats]:
    """Mean east, mean north and outline matrix of labelled places: the ellipse with their moments.

    A full disc of radius r has variance r^2/4 along each axis; (n+1)/(n-1) undoes the shrinkage of few returns.
    """
    count = np.bincount(lump, minlength=n)
    safe = np.maximum(count, 1)
    mean_e = np.bincount(lump, weights=east, minlength=n) / safe
    mean_n = np.bincount(lump, weights=north, minlength=n) / safe
    d_e, d_n = east - mean_e[lump], north - mean_n[lump]
    products = ((d_e, d_e), (d_e, d_n), (d_e, d_n), (d_n, d_n))
    moments = [np.bincount(lump, weights=a * b, minlength=n) / safe for a, b in products]
    scale = 4.0 * (count + 1) / np.maximum(count - 1, 1)
    shape = np.stack(moments, axis=-1).reshape(-1, 2, 2) * scale[:, None, None] + np.eye(2) * 0.1**2
    return mean_e, mean_n, shape
