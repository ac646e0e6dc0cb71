"""Where undergrowth got thicker or thinner, leaves or no leaves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Heights, Mask
from pipeline.refresh.compare.regions import (
    grown_from,
    large_enough,
    local_mean,
    parts_of,
    spread_by_stratum,
    without_gaps,
)

SIGMA_M = 2.5
"""Window through which densities are looked at, in metres. Our choice."""
SURE_SIGMAS, SURE_M2_PER_M3, SURE_RATIO = 5.0, 0.12, 1.6
"""A change begins where the difference is beyond so many standard deviations, as large as a band of runnability is
wide at its narrowest, and this many times as dense. Our choice."""
TRACE = 0.05
"""Density in m2/m3 below which forest is free of undergrowth; added to both sides of the ratio. Our choice."""
EDGE_SHARE = 0.35
"""Around such a place the change reaches as far as this share of it. A mean over a window is half at a straight edge,
but what a patch is held against is the thicker part of it, and a draft's own densities are means already. Fitted on the
rims of the thickets of `scene_a` against `scene_a_later` and of made place 31."""
RIM_M = 2 * SIGMA_M
"""How far from its edge a patch shows its full rise, and how far from its sure cells it reaches at most, in metres:
there the window holds next to nothing from beyond the edge. Our choice."""
LEAST_M2 = 100.0
"""The smallest patch that is told: about the norm's least area of 406 at 1:10000. Our choice."""
LEVEL_EDGES = (0.03, 0.06, 0.1, 0.15, 0.25, 0.4, 0.6, 0.9, 1.3, 2.0)
"""Where strata of noise part, m2/m3: noise goes with density."""
CARPET_LIFT_M = 0.04
"""Ground that lies higher by more than this, in metres, where undergrowth seems thinner, or lower where it seems
thicker, is a matter of what was taken for ground, such as the foot of a carpet half a metre deep. Our choice."""
MOST_LIFT_M = 0.5
"""Where the ground of one survey lies farther than this from that of the other, in metres, because it was dug or
because hardly a pulse came down to it, their layers a metre or two high are not the same layer. Our choice."""
LEAF_QUANTILES = np.linspace(0.01, 0.99, 50)
LEAST_LEAF_CELLS = 2000
"""Fewer cells of unchanged forest tell nothing of the leaves. Our choice."""
LEAF_RANGE = (0.3, 3.5)
"""Ratio of densities that leaves alone may bring: the plant-area index of broadleaved forest with and without leaves
(common practice, no source)."""


@dataclass(frozen=True)
class DensityChange:
    """What became of the undergrowth.

    Attributes
    ----------
    old, new : (rows, cols) m2/m3, means over a window; the old one as the new survey's season would show it
    error : (rows, cols) standard error of the difference
    thicker, thinner : (rows, cols) bool
    leaf_ratio : how many times as dense the new survey shows unchanged forest; 1 where it was not asked
    """

    old: Heights
    new: Heights
    error: Heights
    thicker: Mask
    thinner: Mask
    leaf_ratio: float


def density_change(
    old: Heights,
    new: Heights,
    old_error: Heights | None,
    new_error: Heights | None,
    /,
    *,
    cell_m: float,
    elsewhere: Mask,
    allow_leaves: bool,
    lift: Heights | None = None,
) -> DensityChange:
    """Where undergrowth changed by more than the noise of both surveys.

    Parameters
    ----------
    old, new : (rows, cols) plant-area density of the running layer, m2/m3
    old_error, new_error : (rows, cols) standard errors of the two, model error included, or None
    elsewhere : (rows, cols) bool
        Where other changes stand: not used for learning what leaves do.
    allow_leaves : bool
        Whether the seasons of the surveys may differ, so that all of the forest may look denser in one of them.
    lift : (rows, cols) metres that the bare earth of the new survey lies higher, NaN where not known
        Where a survey takes a carpet of heather or fern for ground, its ground is higher and its undergrowth thinner:
        that is no change.
    """
    before, _ = local_mean(old, SIGMA_M / cell_m)
    after, _ = local_mean(new, SIGMA_M / cell_m)
    seen = np.isfinite(old) & np.isfinite(new) & np.isfinite(before) & np.isfinite(after)
    before, leaf_ratio = _as_in_season(before, after, seen & ~elsewhere) if allow_leaves else (before, 1.0)
    difference = np.where(seen, after - before, 0).astype(np.float32)
    error = _error(difference, before, after, old_error, new_error, seen & ~elsewhere)
    raised = np.zeros_like(difference) if lift is None else np.nan_to_num(local_mean(lift, SIGMA_M / cell_m)[0])
    seen &= np.abs(raised) < MOST_LIFT_M
    thicker, thinner = (
        _patches(side * difference, error, *pair, seen & (side * raised > -CARPET_LIFT_M), cell_m)
        for side, pair in ((1, (before, after)), (-1, (after, before)))
    )
    return DensityChange(before, after, error, thicker, thinner, leaf_ratio)


def _as_in_season(before: Heights, after: Heights, usable: Mask) -> tuple[Heights, float]:
    """Old densities as the season of the new survey would show them, quantile by quantile, and the usual ratio."""
    forest = usable & (np.maximum(before, after) > TRACE)
    if int(forest.sum()) < LEAST_LEAF_CELLS:
        return before, 1.0
    mapped, ratio = before, 1.0
    for _ in range(3):
        low, high = (np.asarray(np.quantile(values[forest], LEAF_QUANTILES), np.float64) for values in (before, after))
        high = np.asarray(np.clip(high, LEAF_RANGE[0] * low, LEAF_RANGE[1] * low), np.float64)
        mapped = _mapped(before, low, np.maximum.accumulate(high))
        ratio = float(np.median(high[10:40] / np.maximum(low[10:40], 1e-6)))
        rest = np.log((after + TRACE) / (mapped + TRACE))
        kept = forest & (np.abs(rest) < 2.5 * max(0.1, 1.4826 * float(np.median(np.abs(rest[forest])))))
        if int(kept.sum()) < LEAST_LEAF_CELLS:
            break
        forest = kept
    return mapped, ratio


def _mapped(values: Heights, low: NDArray[np.float64], high: NDArray[np.float64]) -> Heights:
    """Values between quantiles interpolated; beyond them, in proportion to the outermost."""
    found = np.interp(values, np.concatenate([[0.0], low]), np.concatenate([[0.0], high]))
    beyond = values > low[-1]
    return np.asarray(np.where(beyond, values * (high[-1] / max(low[-1], 1e-6)), found), np.float32)


def _error(
    difference: Heights,
    before: Heights,
    after: Heights,
    old_error: Heights | None,
    new_error: Heights | None,
    usable: Mask,
) -> Heights:
    level = np.nan_to_num((before + after) / 2)
    strata = np.digitize(level, LEVEL_EDGES)
    # What plants that stand otherwise than the model has them do to a density, they do to both surveys: of the stated
    # errors this much at most can differ between them.
    stated = 0.1 + 0.3 * level
    if old_error is not None and new_error is not None:
        stated = np.fmin(stated, 0.02 + np.nan_to_num(np.hypot(old_error, new_error), nan=0.3))
    return spread_by_stratum(difference, strata, usable, floor=0.015, ceiling=stated.astype(np.float32))


def _patches(rise: Heights, error: Heights, less: Heights, more: Heights, seen: Mask, cell_m: float) -> Mask:
    """Where density rose: sure cells, and around them as far as EDGE_SHARE of what it rose by."""
    with np.errstate(invalid="ignore"):
        is_more = (more + TRACE) > SURE_RATIO * (less + TRACE)
    sure = seen & is_more & (rise > np.maximum(SURE_SIGMAS * error, SURE_M2_PER_M3))
    sure = large_enough(sure, least_cells=0.3 * LEAST_M2 / cell_m**2)
    found = np.zeros_like(sure)
    reach = round(4 * SIGMA_M / cell_m)
    for (rows, cols), cells in parts_of(sure):
        window = (
            slice(max(0, rows.start - reach), rows.stop + reach),
            slice(max(0, cols.start - reach), cols.stop + reach),
        )
        here = np.zeros(rise[window].shape, np.bool_)
        here[rows.start - window[0].start :, cols.start - window[1].start :][: cells.shape[0], : cells.shape[1]] = cells
        found[window] |= _as_far_as_it_reaches(rise[window], error[window], here, seen[window], cell_m)
    return large_enough(without_gaps(found, seen, cell_m=cell_m), least_cells=LEAST_M2 / cell_m**2)


def _as_far_as_it_reaches(rise: Heights, error: Heights, sure: Mask, seen: Mask, cell_m: float) -> Mask:
    """(rows, cols) the part of a window that belongs to its sure cells: what rose by a share of their upper quarter.

    Where all within RIM_M rose by less than that, by a share of the most there: the weaker side of a patch has its
    edge where its own rise ends.
    """
    typical = float(np.percentile(rise[sure], 75))
    side = 2 * round(RIM_M / cell_m) + 1
    around = np.minimum(ndimage.maximum_filter(np.where(seen, rise, 0), side), typical)
    extent = seen & (rise > np.maximum(EDGE_SHARE * around, 2 * error))
    extent &= ndimage.distance_transform_edt(~sure) * cell_m <= RIM_M
    return grown_from(sure & extent, extent)
