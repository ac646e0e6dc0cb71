"""Where the ground itself is lower or higher than it was: dug, filled, levelled for a track."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from pipeline.lattice.grid import Heights, Mask
from pipeline.lattice.windows import middle_of_nine
from pipeline.refresh.compare.regions import (
    grown_from,
    large_enough,
    local_mean,
    parts_of,
    robust_spread,
    spread_by_stratum,
)
from pipeline.refresh.compare.returns_seen import Seen

SIGMA_M = 0.75
"""Window through which height differences are looked at, in metres: a track 3 m wide still shows its full cut. Our
choice."""
LEAST_SIGMA_CELLS = 0.75
"""In large cells, which thin surveys have, the window is as wide as this many cells."""
SURE_SIGMAS, SURE_M = 6.0, 0.2
"""A change begins where the difference is beyond so many standard deviations and this many metres. With a million
cells, differences that follow a bell curve pass five standard deviations once in two areas; the tails of real
surfaces are heavier. Less than 0.2 m of cut or fill is nothing a mapper draws. Our choice."""
SURE_RATIO = 0.3
"""How much more is asked for with each metre to the nearest ground return, as a ratio: between returns, the surface is
a guess, and under thickets the lowest return may be a twig. Our choice."""
THICKET_M = 0.6
"""How much more with each m2/m3 of undergrowth, in metres: at 2 m2/m3 one pulse in ten reaches the ground through 2 m
(exp(-0.5 * 2 * 2.2), the law of Beer and Lambert), and the surface may hang as high as a runner's waist."""
EXTENT_SIGMAS, EXTENT_M = 2.5, 0.1
"""Around such a place it reaches as far as the difference stays beyond this. Our choice."""
LEAST_M2, LEAST_BLIND_M2 = 12.0, 25.0
"""The smallest changed ground that is told, in square metres: with the points of both surveys at hand, and without.
Half a pit of the norm's least size (1.2 mm2 at 1:10000 is 120 m2), as it shows in the middle. Our choice."""
BLIND_TIMES = 1.5
"""How many times as large a change must be where there are no returns to ask whether they moved too. Our choice."""
SUPPORT_EDGES_M = (0.5, 1.0, 2.0, 4.0)
SLOPE_EDGES = (0.1, 0.2, 0.35, 0.6, 1.0)
"""Where strata of noise part: distance to the nearest ground return, in metres, and slope as a ratio. Our choice."""
REGION_M, REGION_MOST_M, LEAST_SQUARES = 25.0, 0.3, 16
"""Side of the squares whose medians tell what two surveys differ by all over, and how much of it, in metres, is taken
for an error of flight; and how many squares it takes. Our choice."""
REACH_M = 8.0
"""A change reaches no farther than this from where it is beyond doubt, in metres: more than the slope of a pit is wide.
Our choice."""
UNSEEN_M = 6.0
"""Ground farther than this from a ground return of either survey is not compared. Our choice."""


@dataclass(frozen=True)
class GroundChange:
    """What became of the ground.

    Attributes
    ----------
    difference, error : (rows, cols) metres
        New less old bare earth after registration, smoothed, and its standard error; NaN where either is not known.
    lower, higher : (rows, cols) bool
    seen : (rows, cols) bool
        Where both surveys tell the height of the ground.
    """

    difference: Heights
    error: Heights
    lower: Mask
    higher: Mask
    seen: Mask

    @property
    def changed(self) -> Mask:
        """(rows, cols) where it is lower or higher."""
        both: Mask = self.lower | self.higher
        return both


def ground_change(
    old: Heights,
    new: Heights,
    old_support: Heights | None,
    new_support: Heights | None,
    /,
    *,
    cell_m: float,
    returns: tuple[Seen, Seen] | None = None,
    objects: Mask | None = None,
    water: Mask | None = None,
    thickets: tuple[Heights | None, Heights | None] = (None, None),
) -> GroundChange:
    """Where the ground of two registered surveys differs by more than their noise.

    Parameters
    ----------
    old, new : (rows, cols) elevation of the bare earth, metres; the old one laid onto the grid of the new
    old_support, new_support : (rows, cols) metres to the nearest ground return, or None
    returns : last returns of both surveys; a change that they do not show as well is one of judgement only
    objects : (rows, cols) bool
        Boulders, cliffs, walls and houses of either map, where surveys judge differently what is ground; heeded where
        there are no returns to ask.
    water : (rows, cols) bool
        Standing water of either map, whose level is no ground, and houses.
    thickets : (rows, cols) m2/m3 of the running layer in the old and in the new survey, or None
        Where undergrowth is dense, the lowest return may be a twig, in the survey that seems to be higher.
    """
    support = np.fmax(*(np.zeros_like(new) if s is None else s for s in (old_support, new_support)))
    seen = np.isfinite(old) & np.isfinite(new) & (np.nan_to_num(support) <= UNSEEN_M)
    if water is not None:
        seen &= ~water
    difference = np.where(seen, new - old, np.nan).astype(np.float32)
    rest = difference - regional_error(difference, cell_m)
    smooth, share = local_mean(rest, max(SIGMA_M / cell_m, LEAST_SIGMA_CELLS))
    seen &= share > 0.3
    error = _error(smooth, new, np.nan_to_num(support), seen, cell_m)
    limit = SURE_M + SURE_RATIO * np.nan_to_num(support) + THICKET_M * _hiding(smooth, *thickets)
    times = BLIND_TIMES if returns is None else 1.0
    sure = seen & (np.abs(smooth) > times * np.maximum(SURE_SIGMAS * error, limit))
    extent = seen & (np.abs(smooth) > np.maximum(EXTENT_SIGMAS * error, EXTENT_M))
    # The window makes a pit wider than it is; the middle of nine cells keeps its edge where it was.
    extent &= np.abs(middle_of_nine(np.nan_to_num(rest))) > EXTENT_M
    if returns is not None:
        sure &= _returns_agree(smooth, *returns)
    elif objects is not None:
        sure &= ~objects
    least_cells = (LEAST_BLIND_M2 if returns is None else LEAST_M2) / cell_m**2
    lower, higher = _both_ways(smooth, sure, extent, least_cells, cell_m)
    if returns is not None:
        lower, higher = (_shown_as_a_whole(side, smooth, returns[1].low - returns[0].low) for side in (lower, higher))
    together = large_enough(_closed(lower | higher, 1.0 / cell_m), least_cells=least_cells)
    return GroundChange(smooth, error, lower & together, higher & together, seen)


def regional_error(difference: Heights, cell_m: float, /) -> Heights:
    """What the difference of two surveys is all over a region, (rows, cols) metres: an error of flight, no change.

    Medians of squares of REGION_M, then of five by five of these, so that a change narrower than 60 m leaves no trace
    in it; no more than REGION_MOST_M, so that a larger one does not vanish in it.
    """
    times = max(1, round(REGION_M / cell_m))
    rows, cols = (max(1, round(side / times)) for side in difference.shape)
    if rows * cols < LEAST_SQUARES:
        return np.zeros_like(difference)
    squares = np.zeros((rows, cols))
    for row, band in enumerate(np.array_split(np.arange(difference.shape[0]), rows)):
        for col, strip in enumerate(np.array_split(np.arange(difference.shape[1]), cols)):
            values = difference[band[0] : band[-1] + 1, strip[0] : strip[-1] + 1]
            known = values[np.isfinite(values)]
            squares[row, col] = np.median(known) if known.size > values.size / 4 else 0.0
    calm = ndimage.median_filter(squares, 5, mode="nearest")
    calm = ndimage.gaussian_filter(calm, 0.7, mode="nearest")
    factors = [side / n for side, n in zip(difference.shape, calm.shape, strict=True)]
    wide = ndimage.zoom(calm, factors, order=1, mode="nearest", grid_mode=True)[
        : difference.shape[0], : difference.shape[1]
    ]
    return np.asarray(np.clip(wide, -REGION_MOST_M, REGION_MOST_M), np.float32)


def _hiding(smooth: Heights, old: Heights | None, new: Heights | None) -> Heights:
    """The undergrowth of the survey whose ground seems higher, m2/m3; 0 where it is not known."""
    before, after = (np.zeros_like(smooth) if values is None else np.nan_to_num(values) for values in (old, new))
    return np.where(smooth > 0, after, before).astype(np.float32)


def _error(smooth: Heights, new: Heights, support: Heights, seen: Mask, cell_m: float) -> Heights:
    """Standard error of the difference: the spread of its stratum of support and slope, within what is believable."""
    surface, _ = local_mean(new, 2.0 / cell_m)
    slope = np.hypot(*np.gradient(np.nan_to_num(surface, nan=float(np.nanmedian(new))), cell_m)).astype(np.float32)
    strata = np.digitize(support, SUPPORT_EDGES_M) * (len(SLOPE_EDGES) + 1) + np.digitize(slope, SLOPE_EDGES)
    ceiling = 0.05 + (0.1 + 0.4 * np.minimum(slope, 2.0)) * np.clip(support, 0.3, 5.0)
    whole = robust_spread(smooth[seen])
    floor = max(0.01, 0.5 * whole if np.isfinite(whole) else 0.0)
    return spread_by_stratum(smooth, strata, seen, floor=min(floor, 0.1), ceiling=ceiling.astype(np.float32))


def _returns_agree(smooth: Heights, old: Seen, new: Seen) -> Mask:
    """Where the lowest last returns changed the way the bare earth did, by at least half as much."""
    change = new.low - old.low
    with np.errstate(invalid="ignore"):
        agrees: Mask = (np.sign(change) == np.sign(smooth)) & (np.abs(change) > 0.5 * np.abs(smooth))
    return agrees & (np.minimum(old.n_last, new.n_last) >= 2)


def _shown_as_a_whole(side: Mask, smooth: Heights, change: Heights) -> Mask:
    """The parts over which the lowest last returns moved by half as much at least, in the middle of their values."""
    found = np.zeros_like(side)
    for window, cells in parts_of(side):
        moved, said = (float(np.nanmedian(values[window][cells])) for values in (change, smooth))
        if said * moved > 0 and abs(moved) > 0.5 * abs(said):
            found[window] |= cells
    return found


def _closed(cells: Mask, reach_cells: float) -> Mask:
    """The mask with gaps up to twice this wide filled."""
    n = max(1, round(reach_cells))
    wide = ndimage.binary_closing(np.pad(cells, 2 * n), iterations=n)
    return np.asarray(wide[2 * n : -2 * n, 2 * n : -2 * n]) | cells


def _both_ways(smooth: Heights, sure: Mask, extent: Mask, least_cells: float, cell_m: float) -> tuple[Mask, Mask]:
    """Lower and higher ground, together large enough: a bench is cut on one side and filled on the other."""
    core = sure & large_enough(_closed(sure, 1.0 / cell_m), least_cells=least_cells)
    extent &= ndimage.distance_transform_edt(~core) * cell_m < REACH_M
    lower, higher = (grown_from(core & side, extent & side) for side in (smooth < 0, smooth > 0))
    return lower, higher
