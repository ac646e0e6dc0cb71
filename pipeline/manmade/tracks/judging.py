"""How likely each stretch of a line is a course that a mapper would draw, and which stretches are kept."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import LineString
from shapely.ops import substring

from pipeline.manmade.tracks.sections import APART_M, HALF_M, Sections, across

Numbers = NDArray[np.float64]

STRETCH_M = 41.0
"""Length of the stretch of a line that decides about its middle (our choice)."""
WEIGHTS = {
    "always": -0.03,
    "prominence": 12.46,
    "ground": 0.74,
    "steep": -2.56,
    "hollow": -1.19,
    "spur": -1.34,
    "uneven": -0.64,
}
"""Log-odds of `measures`, by name. Fitted (logistic regression with a ridge of 2) to stretches of lines of `scene_a`,
`hard_moraine`, `hard_steep`, `hard_karst`, the western half of the boreal km2 and a block of real relief with and
without invented forest, whose roads were traced by eye."""
USUAL_SHOWN = 1.1
"""Prominence from which it is counted (as fitted)."""
GENTLE = 0.3
"""Gradient up to which it says nothing: rills run straight down steep slopes, ways do so seldom (as fitted)."""
NARROW_M = 4.5
"""Width of a floor below which a fold of the ground can be taken for one (our choice)."""
ROUNDED = 0.65
"""Share of the height at HALF_M that ground has reached halfway there: lanes and banks rise at once and then level off,
valleys and spurs go on (our choice, between some 0.9 of a lane and 0.45 of a valley)."""
MOST_FOLD_M = 2.0
"""Height of a fold above which it counts no more."""
ENOUGH_GROWTH = 0.4
"""Strength of what plants show from which the shape of the ground does not speak against a course (our choice)."""

MOST_GROUND = 0.5
"""Strength of what the ground shows above which it counts no more (our choice)."""
DITCH_M = 0.22
"""How much both sides rise within DITCH_ASIDE_M of the middle of a ditch: more than beside a trodden path (our choice:
paths are worn some 0.15 m deep)."""
DITCH_ASIDE_M = 1.25
"""Half the width of a sunken lane for a cart, in which a ditch has risen and a lane has not (our choice)."""
NOTCH_OFF_M = 1.0
"""How far a line may run beside the bottom of a ditch: a cell (our choice)."""
MOST_WET = 0.6
"""Share of a stretch in the bed of a watercourse above which it is that: a track crosses it (our choice)."""
BEGINS = 0.45
"""Likelihood that a stretch must reach somewhere (fitted on the places of WEIGHTS: lower, false tracks come in on steep
ground)."""
CONTINUES = 0.12
"""Likelihood down to which it goes on (fitted on the same)."""
LEAST_STRETCH_M = 25.0
"""Shortest stretch kept, and shortest gap left open (our choice)."""


@dataclass(frozen=True)
class Shown:
    """What the cells show along a line, (n,) each, at its profiles.

    Attributes
    ----------
    prominence : of the best curve there
    seen : 1 where a crest runs, 0 on a bridge
    ground, growth : strength of what the ground and what plants show, above what is usual around
    wet : 1 in the bed of a watercourse, 0 elsewhere
    rim : 1 so near the edge of the survey that only one side of a course is seen, 0 elsewhere
    """

    prominence: Numbers
    seen: Numbers
    ground: Numbers
    growth: Numbers
    wet: Numbers
    rim: Numbers


def likelihood(sections: Sections, shown: Shown, /) -> Numbers:
    """(n,) how likely the line is a course at each profile, 0 to 1.

    What runs along the edge of the survey for LEAST_STRETCH_M is none: with one side unseen, the last row of cells
    differs from its other side everywhere. What leaves the survey crosses the rim in less.
    """
    log_odds = sum(WEIGHTS[name] * values for name, values in measures(sections, shown).items())
    height = _over(sections.height_m)
    in_bed = _over(np.maximum(shown.wet, _in_notch(height))) > MOST_WET
    along_rim = ndimage.binary_opening(shown.rim > 0, np.ones(round(LEAST_STRETCH_M / APART_M), bool))
    return np.where(in_bed | along_rim, 0.0, 1 / (1 + np.exp(-np.asarray(log_odds))))


def measures(sections: Sections, shown: Shown, /) -> dict[str, Numbers]:
    """What speaks for and against a course at each profile, (n,) each, means over STRETCH_M; keys of WEIGHTS."""
    height = _over(sections.height_m)
    floor = _over(sections.floor_m)
    spread = np.sqrt(np.maximum(_over(sections.floor_m**2) - floor**2, 0))
    far, near = (_both_sides(height, away) for away in (HALF_M, HALF_M / 2))
    growth = _over(shown.growth)
    # Where plants show a course as well it may follow a fold of the ground.
    by_ground = np.maximum(1 - growth / ENOUGH_GROWTH, 0)
    is_fold = by_ground * ((floor < NARROW_M) & (np.abs(near) < ROUNDED * np.abs(far)))
    return {
        "always": np.ones(len(floor)),
        "prominence": _over(shown.prominence) - USUAL_SHOWN,
        "ground": np.minimum(_over(shown.ground), MOST_GROUND),
        "steep": np.maximum(_over(np.abs(sections.climb)) - GENTLE, 0),
        "hollow": np.clip(far, 0, MOST_FOLD_M) * is_fold,
        "spur": np.clip(-far, 0, MOST_FOLD_M) * is_fold,
        "uneven": by_ground * spread / np.maximum(floor, 1),
    }


def kept(line: LineString, likely: Numbers, /) -> list[LineString]:
    """The stretches of a line that are likely enough.

    Parameters
    ----------
    likely : (n,) at each profile of the line
    """
    goes = likely >= CONTINUES
    few = max(1, round(LEAST_STRETCH_M / APART_M))
    goes = ~_long_runs(~goes, few)
    label, n = ndimage.label(goes)
    stretches: list[LineString] = []
    for number in range(1, n + 1):
        at = np.flatnonzero(label == number)
        if likely[at].max() < BEGINS or (len(at) < few and len(at) < len(likely)):
            continue
        start = 0.0 if at[0] == 0 else at[0] * APART_M
        end = line.length if at[-1] == len(likely) - 1 else (at[-1] + 1) * APART_M
        stretch = substring(line, start, end)
        if isinstance(stretch, LineString):
            stretches.append(stretch)
    return stretches


def _long_runs(which: NDArray[np.bool_], few: int) -> NDArray[np.bool_]:
    """Those that lie in runs of so many or more, or in runs that reach an end."""
    label, n = ndimage.label(which)
    size = np.bincount(label, minlength=n + 1)
    long = size >= few
    long[label[[0, -1]]] = True
    long[0] = False
    return np.asarray(long[label])


def _over(values: Numbers) -> Numbers:
    """Means along the line over STRETCH_M; beyond its ends it is taken to go on as there."""
    return np.asarray(ndimage.uniform_filter1d(values, round(STRETCH_M / APART_M), axis=0, mode="nearest"))


def _both_sides(height_m: Numbers, away_m: float) -> Numbers:
    """Mean height so far to the left and to the right."""
    return np.asarray((_at(height_m, away_m) + _at(height_m, -away_m)) / 2)


def _in_notch(height_m: Numbers) -> NDArray[np.bool_]:
    """(n,) bool: whether the ground rises at once to both sides of the middle, or of a place just beside it."""
    middles = np.arange(-NOTCH_OFF_M, NOTCH_OFF_M + 0.1, 0.5)
    return np.asarray(np.any([_lower_side(height_m, middle) > DITCH_M for middle in middles], axis=0))


def _lower_side(height_m: Numbers, middle_m: float) -> Numbers:
    """Rise from a place of the profile to the lower of the two DITCH_ASIDE_M beside it."""
    sides = (_at(height_m, middle_m + DITCH_ASIDE_M), _at(height_m, middle_m - DITCH_ASIDE_M))
    return np.asarray(np.minimum(*sides) - _at(height_m, middle_m))


def _at(height_m: Numbers, offset_m: float) -> Numbers:
    return np.asarray(height_m[:, int(np.argmin(np.abs(across() - offset_m)))])
