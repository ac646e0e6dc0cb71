"""Where trees were felled, and where they grew up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from pipeline.lattice.grid import Heights, Mask
from pipeline.refresh.compare.regions import grown_from, large_enough, local_mean, spread_by_stratum, without_gaps

SIGMA_M = 1.75
"""Window through which canopies are looked at, in metres: about a crown. Our choice."""
LEAST_SIGMA_CELLS = 1.5
"""Cells are chosen so large that they hold some pulses each; the window holds at least 28 cells."""
TREES_M = 4.0
"""Mean height of what counts as trees. Our choice."""
GONE_RATIO, EDGE_RATIO = 0.25, 0.5
"""Trees are gone where less than this share of their mean height is left, and their edge is where half is left: the
mean over a window is half at a straight edge. Our choice."""
SURE_SIGMAS = 5.0
"""A change of the mean height must be beyond so many standard deviations of what heights of its kind differ by all over
the area: in thin surveys a window holds few returns. Our choice."""
LEVEL_EDGES_M = (1.0, 2.0, 4.0, 7.0, 10.0, 14.0, 18.0, 24.0)
"""Where strata of noise part: the mean height of both surveys."""
LEAST_M2 = 50.0
"""The smallest felled patch that is told: half of the norm's least open area at 1:10000. Our choice."""
TALLEST_M = 40.0
"""Higher canopies count as so high: stray returns of birds and haze stand above them."""
USUAL_GROWTH = (0.8, 1.7)
"""Ratio of heights between two surveys that growth and pulse density alone may bring. Our choice."""


@dataclass(frozen=True)
class CanopyChange:
    """What became of the trees.

    Attributes
    ----------
    old, new : (rows, cols) mean height of the canopy in a window, metres
    usual_ratio : the ratio of heights over the unchanged trees
    felled, grown : (rows, cols) bool
    """

    old: Heights
    new: Heights
    usual_ratio: float
    felled: Mask
    grown: Mask


def canopy_change(old: Heights, new: Heights, seen: Mask, /, *, cell_m: float) -> CanopyChange:
    """Where trees of one survey are missing in the other.

    Parameters
    ----------
    old, new : (rows, cols) height of the highest vegetation, metres; NaN where nothing was returned
    seen : (rows, cols) bool, where both surveys have ground
    """
    before, after = (mean_height(values, seen, cell_m) for values in (old, new))
    tall = seen & (before > TREES_M) & (after > TREES_M)
    ratio = float(np.median(after[tall] / before[tall])) if tall.any() else 1.0
    ratio = float(np.clip(ratio, *USUAL_GROWTH))
    error = _error(before * ratio, after, seen)
    felled = _missing(before * ratio, after, error, seen, cell_m)
    grown = _missing(after / ratio, before, error, seen, cell_m)
    return CanopyChange(before, after, ratio, felled, grown & ~felled)


def mean_height(canopy: Heights, seen: Mask, cell_m: float, /) -> Heights:
    """(rows, cols) mean height of the canopy in metres over a window, of the cells with a return.

    Bare ground is a return of height 0; NaN where hardly a cell of the window has a return.

    The highest return around would make a wire as wide as a hedge; the mean of what returned does not depend on the
    density of pulses either.
    """
    tops = np.where(seen, np.clip(canopy, 0, TALLEST_M), np.nan).astype(np.float32)
    mean, _ = local_mean(tops, max(SIGMA_M / cell_m, LEAST_SIGMA_CELLS))
    return mean


def _error(before: Heights, after: Heights, seen: Mask) -> Heights:
    """Standard deviation of the difference of mean heights, metres, by strata of height.

    Held below a quarter of the height, so that a forest that was felled as a whole is not taken for noise.
    """
    level = np.nan_to_num((before + after) / 2)
    usable = seen & np.isfinite(before) & np.isfinite(after)
    difference = np.where(usable, after - before, 0).astype(np.float32)
    strata = np.digitize(level, LEVEL_EDGES_M)
    return spread_by_stratum(difference, strata, usable, floor=0.3, ceiling=(1.0 + 0.25 * level).astype(np.float32))


def _missing(before: Heights, after: Heights, error: Heights, seen: Mask, cell_m: float) -> Mask:
    """Where there were trees and are none, gaps between the crowns included."""
    with np.errstate(invalid="ignore"):
        sure = seen & (before > TREES_M) & (after < GONE_RATIO * before)
        sure &= before - after > SURE_SIGMAS * error
        extent = seen & (before > TREES_M / 4) & (after < EDGE_RATIO * before)
    patch = grown_from(large_enough(sure, least_cells=0.3 * LEAST_M2 / cell_m**2), extent)
    reach = max(1, round(2.0 / cell_m))
    wide = np.pad(patch, 2 * reach)
    disc = np.hypot(*np.mgrid[-reach : reach + 1, -reach : reach + 1]) <= reach
    closed = ndimage.binary_closing(wide, disc)[2 * reach : -2 * reach, 2 * reach : -2 * reach]
    opened = ndimage.binary_opening(closed, disc)
    kept = large_enough(np.asarray(opened & seen), least_cells=LEAST_M2 / cell_m**2)
    return without_gaps(kept, seen, cell_m=cell_m)
