"""What an hour of fieldwork does: tasks, what of the ground drives each, and the trade's rates.

No rate of a task is published: only whole hours a square kilometre are (`PRINTED_H_PER_KM2`). So the rates below are
our choice, made so that three kinds of ground cost what the trade says of them: ordinary forest 25 hours a square
kilometre, intricate rocky ground 60 to 100, the simplest ground 10 and a little more. A club's own history replaces
them (`pipeline.effort.rates.history`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

PRINTED_H_PER_KM2 = (10.0, 25.0, 60.0)
"""Hours of fieldwork a square kilometre: least, planning example, most. A page of a handbook for makers of orienteering
maps from before lidar (lazarus.elte.hu/mc/ik/fieldw.htm)."""
ORDINARY_H_PER_KM2 = (15.0, 40.0)
"""Hours a square kilometre that ordinary forest takes, from the least to the most. Common practice, no source."""
DRAWING_RATIO = (0.4, 0.5, 0.6)
"""Hours of drawing for each hour of fieldwork: low, likely, high. Half is common practice, no source; the range is our
choice."""

SCALE_FACTOR: Mapping[int, float] = {15000: 0.85, 10000: 1.0, 7500: 1.15, 5000: 1.4}
"""Hours against those for 1:10 000. Common practice, no source: the norm shows the same at all these scales, but more
room on the paper invites more time."""

TASKS = ("greens", "rock", "landform", "paths", "water", "borders", "not_seen")
"""What the hours go to. `borders` are walls, fences, buildings and where one may not go; `not_seen` is ground that the
survey shows nothing of."""

MEASURES = (
    "area_km2",
    "slope_km2",
    "contour_km",
    "landforms",
    "rocks",
    "rock_km",
    "stands",
    "edges_km",
    "paths_km",
    "waters",
    "water_km",
    "built",
    "built_km",
    "not_seen_km2",
    "open_km2",
    "fit_km2",
)
"""What is measured of a piece of ground. All add up over pieces: `slope_km2` is area times rise over run, `landforms`,
`rocks`, `stands` (of vegetation), `waters` and `built` count features, `_km` is length of lines and of outlines,
`open_km2` is open land and `fit_km2` ground that one can run over, open land counted half."""

RATES: Mapping[str, Mapping[str, float]] = {
    "greens": {"area_km2": 3.0, "stands": 0.012, "edges_km": 0.045},
    "rock": {"area_km2": 1.0, "rocks": 0.04, "rock_km": 0.8},
    "landform": {"area_km2": 2.0, "contour_km": 0.07, "landforms": 0.02, "slope_km2": 8.0},
    "paths": {"area_km2": 1.0, "paths_km": 0.5},
    "water": {"area_km2": 0.5, "waters": 0.05, "water_km": 0.35},
    "borders": {"area_km2": 0.5, "built": 0.05, "built_km": 0.3},
}
"""Hours without a draft for one unit of each measure; `area_km2` is the walking itself. Our choice, see above. All are
above zero, so more of anything never takes less time."""

ORDINARY: Mapping[str, float] = {
    "area_km2": 1.0,
    "slope_km2": 0.12,
    "contour_km": 20.0,
    "landforms": 60.0,
    "rocks": 50.0,
    "rock_km": 1.0,
    "stands": 180.0,
    "edges_km": 60.0,
    "paths_km": 4.0,
    "waters": 8.0,
    "water_km": 3.0,
    "built": 8.0,
    "built_km": 3.0,
    "not_seen_km2": 0.05,
    "open_km2": 0.1,
    "fit_km2": 0.8,
}
"""A square kilometre of ordinary forest as a draft shows it: contours every 5 m on a slope of one in ten, and as many
small areas of vegetation as drafts have, which is more than a map keeps. Our choice."""


def ordinary_h_per_km2(task: str, /) -> float:
    """Hours a square kilometre that a task takes in ordinary forest, without the walking itself, hours."""
    if task == "not_seen":
        return 0.0
    return sum(rate * ORDINARY[measure] for measure, rate in RATES[task].items() if measure != "area_km2")


NOT_SEEN_H_PER_KM2 = sum(map(ordinary_h_per_km2, RATES))
"""Hours a square kilometre of ground that the survey does not show, beside the walking: nothing of it is measured, so
it is taken to hold what ordinary forest holds."""


def rate_matrix() -> Numbers:
    """(measures, tasks) hours without a draft for one unit of each measure, in the order of MEASURES and of TASKS."""
    rates = dict(RATES) | {"not_seen": {"not_seen_km2": NOT_SEEN_H_PER_KM2}}
    return np.array([[rates[task].get(measure, 0.0) for task in TASKS] for measure in MEASURES])


@dataclass(frozen=True)
class Range:
    """A figure with its low and high estimate."""

    low: float
    likely: float
    high: float

    def times(self, factor: float, /) -> Range:
        """The range of a part, or of several, that are as unsure as the whole."""
        return Range(self.low * factor, self.likely * factor, self.high * factor)

    def rounded(self, digits: int = 2) -> dict[str, float]:
        """Low, likely and high by name, for a JSON file."""
        return {name: round(getattr(self, name), digits) for name in ("low", "likely", "high")}


TRADE_SPREAD = Range(ORDINARY_H_PER_KM2[0] / 25.0, 1.0, ORDINARY_H_PER_KM2[1] / 25.0)
"""Hours against the likely ones that mappers need on like ground, by the trade's own range about its example."""
QUICK_SPREAD = Range(PRINTED_H_PER_KM2[0] / 25.0, 1.0, PRINTED_H_PER_KM2[2] / 25.0)
"""The same for ground of which nothing is measured but its extent."""
