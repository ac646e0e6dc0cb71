"""Lumps: discs of smooth last returns above the ground around, through which no pulse has come.

Discs of several radii are tried, rather than connected groups, because boughs that touch a boulder would join it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from skimage.filters import rank

from pipeline.lattice.fill import fill_nearest
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import lowest_into
from pipeline.lattice.per_cell import lowest_in_cells
from pipeline.lattice.windows import middle_of_25
from pipeline.rock.boulders.discs import Seen, discs_of
from pipeline.rock.boulders.low_returns import BOULDER_MAX_HEIGHT_M, Floats, Labels, LowReturns


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


DISC_RADII_M = (0.6, 0.9, 1.4, 2.1, 3.2, 4.4)
"""Radii of the discs tried: from the smallest boulder that is drawn to the widest, each about 1.5 times the last."""
COARSE_FROM_M = 2.0
"""Discs from this radius on are looked for on cells twice as wide, which is four times as quick."""
OUTLINES_PER_RADIUS = (1.15, 1.45)
"""Each disc gives two lumps, their outlines so many times as wide: discs lie a factor of 1.5 apart, so that the true
edge lies between this disc and the next."""
FILL_CELLS = 1.8
"""How far the lowest return of a fine cell may stand in for empty cells around, in cells of the survey's grid: the
farthest a place in forest lies from a last return where a third of the pulses reach down (arithmetic)."""


def find_lumps(low: LowReturns, grid: Grid, /) -> Lumps:
    """Every disc that may be the top of a boulder: nothing low inside, smooth, some of its surroundings low.

    The lowest last return of each fine cell (a half or a quarter of the grid's) decides, so one pulse that came
    through to the ground breaks a disc, and twigs over a boulder do not hide it.
    """
    fine = _finer(grid, 2 if grid.cell_m <= 0.5 else 4)
    wide = _finer(grid, 1 if grid.cell_m <= 0.5 else 2)
    near = Seen.of(_lowest(low, low.above_near_m, fine, FILL_CELLS * grid.cell_m), fine)
    far = Seen.of(lowest_into(_lowest(low, low.above_m, fine, FILL_CELLS * grid.cell_m), fine, wide, 2), wide)
    parts = [discs_of(far if radius >= COARSE_FROM_M else near, radius) for radius in DISC_RADII_M]
    east, north, radius, open_share = (np.concatenate(column) for column in zip(*parts, strict=True))
    times = len(OUTLINES_PER_RADIUS)
    outer = np.concatenate([share * radius for share in OUTLINES_PER_RADIUS])
    outline = outer[:, None, None] ** 2 * np.eye(2)
    return Lumps(np.tile(east, times), np.tile(north, times), outline, np.tile(open_share, times))


def _lowest(low: LowReturns, above_m: Floats, grid: Grid, fill_m: float) -> Heights:
    """Height of the lowest last return of each cell, without lone twigs; NaN farther than `fill_m` from any."""
    seen = low.is_last & np.isfinite(above_m) & (above_m < BOULDER_MAX_HEIGHT_M)
    lowest = lowest_in_cells(grid.cell_index(low.east[seen], low.north[seen]), above_m[seen], grid.shape)
    return _without_twigs(fill_nearest(lowest, reach_cells=fill_m / grid.cell_m))


TWIG_CELLS = 5
"""Side, in fine cells, of the window in which a lone high return is cut down to the middle height of the cells around:
that of `middle_of_25`. As wide as the smallest disc: narrower, a twig over a rock stays; wider, a small rock is cut
down too."""


def _without_twigs(height: Floats) -> Heights:
    """The height, nowhere above the middle height of the cells around; low places stay as they are, gaps too.

    A twig over a rock stops a pulse or two; what lies below it is met by those beside them. Middle heights are taken
    in whole centimetres, finer than any return is ranged, which is several times as quick.
    """
    known = np.isfinite(height)
    whole_cm = np.round(100 * np.where(known, height, 0).clip(0)).astype(np.uint16)
    middle = _middle_around(whole_cm) / np.float32(100)
    cut: Heights = np.where(known, np.minimum(height, middle), np.nan).astype(np.float32)
    return cut


def _middle_around(values: NDArray[np.uint16]) -> NDArray[np.uint16]:
    """(rows, cols) the middle value of the window of `TWIG_CELLS` about each cell, at the rim of what is left of it."""
    around = np.ones((TWIG_CELLS, TWIG_CELLS), np.uint8)
    rim, wide = TWIG_CELLS // 2, TWIG_CELLS - 1
    if min(values.shape) < TWIG_CELLS:
        return np.asarray(rank.median(values, around), np.uint16)  # type: ignore[no-untyped-call]
    middle = np.empty_like(values)
    middle[rim:-rim, rim:-rim] = middle_of_25(values)
    for strip, edge in ((slice(0, wide), slice(0, rim)), (slice(-wide, None), slice(-rim, None))):
        middle[edge] = rank.median(values[strip], around)[edge]  # type: ignore[no-untyped-call]
        middle[:, edge] = rank.median(values[:, strip], around)[:, edge]  # type: ignore[no-untyped-call]
    return middle


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
