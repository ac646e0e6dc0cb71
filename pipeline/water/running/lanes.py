"""Sunken lanes: trenches with an even, dry floor, such as carts wore into the ground. No water runs in them."""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import NDArray

from pipeline.water.running.along import Counts, runs_along, starts_of
from pipeline.water.running.sections import (
    APART_M,
    OFFSETS_M,
    STEP_M,
    Numbers,
    Sections,
    mean_over_smooth_m,
    over_smooth_m,
)

TOP_M = (3.0, 6.0)
"""Distance from the line, in metres, within which the top of a lane's bank lies: its floor is 2 to 4 m wide, and its
banks are steep. Our choice."""
FIELD_FROM_M = 10.0
"""Distance from the line, in metres, from which the ground beside a lane counts as the field it was worn into. Our
choice."""
LEAST_DEPTH_M = 0.5
"""Height of the lower bank, in metres, from which a lane is told by its shape: over lower ones the error of the bare
earth blurs it. Our choice."""
LEVEL_RATIO = 0.35
"""Share of its depth by which the field beside a lane may lie higher or lower than the top of its bank: a lane is worn
into level ground, while the sides of a valley rise on and a ditch on a slope has a low side. Fitted on two made scenes
(moraine, farmland) and tried on four others."""
FLOOR_SHARE = 0.3
"""Share of the depth up to which ground counts as the floor. Our choice."""
FLOOR_M = (2.5, 6.0)
"""Width of the floor of a lane, in metres, the slope of its banks up to `FLOOR_SHARE` among it: a cart needs 2 m.
Ditches came out 1.5 to 2 m wide in a made scene, its lane 3 to 4 m, the beds of small valleys 4 to 5 m."""
EVEN_M = 1.0
"""Range, in metres, between the quartiles of that width up to which a floor is even: small valleys have 1.5 m and more
(the same scenes)."""
LEAST_LANE_M = 20.0
"""Length in metres of the shortest piece of lane. Shorter pieces are the banks of a ditch that a track crosses. Our
choice."""
DRY_RATIO = 0.6
"""Pulses that came back from the floor over those from the ground beside it, from which the floor is dry: water as wide
as a lane sends back a tenth. Our choice."""
BESIDE_M = (5.0, 8.0)
"""Distance from the line, in metres, at which the pulses are counted that the floor is compared with. Our choice."""


def in_lane(sections: Sections, /) -> NDArray[np.bool_]:
    """(n,) which cross-sections of a channel lie in a sunken lane, in stretches of at least `LEAST_LANE_M`."""
    return _in_runs(has_lane_shape(sections) & is_dry(sections), sections.lengths, LEAST_LANE_M)


def has_lane_shape(sections: Sections, /) -> NDArray[np.bool_]:
    """(n,) which cross-sections are those of a trench with an even floor, worn into level ground.

    Depth, field and floor are judged over `incision.SMOOTH_M`.
    """
    top_m = _lower(sections.rise_m, TOP_M, 100)
    field_m = _lower(sections.rise_m, (FIELD_FROM_M, OFFSETS_M[-1]), 50)
    width = _floor_m(sections, top_m)
    top_m, field_m = over_smooth_m(top_m, sections), over_smooth_m(field_m, sections)
    narrow, usual, wide = (over_smooth_m(width, sections, percent=percent) for percent in (25, 50, 75))
    is_even = (usual >= FLOOR_M[0]) & (usual <= FLOOR_M[1]) & (wide - narrow <= EVEN_M)
    found: NDArray[np.bool_] = is_even & (top_m >= LEAST_DEPTH_M) & (np.abs(field_m - top_m) <= LEVEL_RATIO * top_m)
    return found


def is_dry(sections: Sections, /) -> NDArray[np.bool_]:
    """(n,) from which cross-sections as many pulses came back as from the ground beside, over `incision.SMOOTH_M`."""
    aside = np.abs(OFFSETS_M)
    floor, beside = aside <= FLOOR_M[0] / 2, (aside >= BESIDE_M[0]) & (aside <= BESIDE_M[1])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a section wholly outside the grid has no mean
        pulses = [np.nanmean(sections.aimed[:, where], axis=1) for where in (floor, beside)]
    back, usual = (mean_over_smooth_m(of, sections) for of in pulses)
    dry: NDArray[np.bool_] = back >= DRY_RATIO * usual
    return dry


def _lower(rise_m: Numbers, aside_m: tuple[float, float], share: float) -> Numbers:
    """(n,) the lower of a percentile of each side at these distances; of one side where the other is unknown."""
    sides = [(aside_m[0] <= OFFSETS_M) & (aside_m[1] >= OFFSETS_M)]
    sides.append(sides[0][::-1])
    left, right = (_percentile(rise_m[:, side], share) for side in sides)
    lower: Numbers = np.fmin(left, right)
    return lower


def _percentile(values: Numbers, share: float) -> Numbers:
    """(n,) percentile of the known values of each row, NaN where none is known.

    `numpy.nanpercentile` gives the same row by row, and took half of the time that running water needs.
    """
    in_order = np.sort(values, axis=1)  # what is unknown comes last
    at = np.maximum(np.isfinite(values).sum(axis=1) - 1, 0) * share / 100
    each, below = np.arange(len(values)), np.floor(at).astype(np.int64)
    low, high = in_order[each, below], in_order[each, np.ceil(at).astype(np.int64)]
    between: Numbers = low + (high - low) * (at - below)
    return between


def _floor_m(sections: Sections, top_m: Numbers) -> Numbers:
    """(n,) width around the bed up to which the ground rises no higher than `FLOOR_SHARE` of the depth."""
    limit = FLOOR_SHARE * np.maximum(np.nan_to_num(top_m), 0.1)
    is_above = ~(sections.rise_m <= limit[:, None])
    columns = np.arange(len(OFFSETS_M))
    left = np.where(is_above & (columns < sections.bed[:, None]), columns, -1).max(axis=1)
    right = np.where(is_above & (columns > sections.bed[:, None]), columns, len(OFFSETS_M)).min(axis=1)
    width: Numbers = (right - left - 1) * STEP_M
    return width


def _in_runs(which: NDArray[np.bool_], lengths: Counts, least_m: float) -> NDArray[np.bool_]:
    """Runs of at least this length along each channel, with gaps shorter than it closed."""
    least = max(1, round(least_m / APART_M))
    runs = np.zeros(len(which), np.bool_)
    starts, stops = runs_along(which, lengths)
    is_long = stops - starts >= least
    for start, stop in zip(starts[is_long].tolist(), stops[is_long].tolist(), strict=True):
        runs[start:stop] = True
    starts, stops = runs_along(~runs, lengths)
    ends = np.concatenate((starts_of(lengths), np.cumsum(lengths)))
    is_gap = (stops - starts < least) & ~np.isin(starts, ends) & ~np.isin(stops, ends)
    for start, stop in zip(starts[is_gap].tolist(), stops[is_gap].tolist(), strict=True):
        runs[start:stop] = True
    return runs
