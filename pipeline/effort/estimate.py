"""The estimate of an area: hours in each square and whole, and all that follows from them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from pipeline.effort.age import Age
from pipeline.effort.costs import Terms, cost_of, days_for, days_of
from pipeline.effort.first import best_piece
from pipeline.effort.rates.gain import MISSED, missed_h_per_km2
from pipeline.effort.rates.hours import Pace, hours_with_draft, hours_without_draft
from pipeline.effort.rates.measuring import Cells
from pipeline.effort.rates.trade import RATES, SCALE_FACTOR, TASKS, Numbers, Range
from pipeline.effort.reasons import SHOWN_BADLY, TASK_NAMES
from pipeline.effort.shrinking import Way, ways_to_shrink


@dataclass(frozen=True)
class Estimate:
    """What there is to say of the work on an area.

    Attributes
    ----------
    name, crs, scale, currency : of the area file
    cells, measures : the squares, and what each holds
    grades : task to how well the survey shows what it is about
    pace, terms, age : how fast the mappers are, how the club works, when the survey was flown
    outside_km2 : ground within the boundary that no tile covers; it is in none of the squares
    sheets : name of each sheet to the share of each square that it shows, (n,) 0 to 1; empty for a single sheet
    """

    name: str
    crs: str
    scale: int
    currency: str
    cells: Cells
    measures: pd.DataFrame
    grades: Mapping[str, str]
    pace: Pace
    terms: Terms
    age: Age
    outside_km2: float = 0.0
    sheets: Mapping[str, Numbers] = field(default_factory=dict)

    @property
    def area_km2(self) -> float:
        """Ground within the outline."""
        return float(self.measures["area_km2"].sum())

    @cached_property
    def by_task(self) -> Numbers:
        """(n, tasks) likely hours of fieldwork with the draft, by square and task."""
        return hours_with_draft(self.measures, grades=self.grades, scale=self.scale) * self.pace.factor

    @cached_property
    def without_draft(self) -> Numbers:
        """(n, tasks) the same without a draft."""
        return hours_without_draft(self.measures, grades=self.grades, scale=self.scale) * self.pace.factor

    @property
    def held(self) -> dict[str, float]:
        """All that the area holds, by the name of the measure."""
        return {str(name): float(total) for name, total in self.measures.sum().items()}

    def fieldwork(self, likely_h: float, /) -> Range:
        """Hours of fieldwork with their range."""
        return self.pace.spread.times(likely_h)

    def drawing(self, likely_h: float, /) -> Range:
        """Hours of drawing that go with so many likely hours of fieldwork: slow fieldwork is drawn with more work."""
        spread, ratio = self.pace.spread, self.pace.drawing
        return Range(*(likely_h * s * r for s, r in zip(_three(spread), _three(ratio), strict=True)))

    @property
    def days(self) -> dict[str, int]:
        """Days in the field."""
        return days_for(self.fieldwork(float(self.by_task.sum())), self.terms)

    def cost(self, likely_h: float, /) -> Range:
        """Money for so many likely hours in the field, with drawing and travel; travel by whole days."""
        hours, drawing = _three(self.fieldwork(likely_h)), _three(self.drawing(likely_h))
        days = (days_of(h, day_h=self.terms.day_h) for h in hours)
        return Range(*(cost_of(h, d, n, self.terms) for h, d, n in zip(hours, drawing, days, strict=True)))

    @cached_property
    def shrinking(self) -> list[Way]:
        """Three ways to make it cheaper."""
        area = self.measures["area_km2"].to_numpy(np.float64)
        return ways_to_shrink(self.by_task, area, scale=self.scale, grades=self.grades)

    @cached_property
    def first(self) -> list[int]:
        """Numbers of the squares to map first; empty where the area is hardly larger than such a piece."""
        area, fit = (self.measures[name].to_numpy(np.float64) for name in ("area_km2", "fit_km2"))
        piece = best_piece(self.cells.place, area, fit, self.by_task.sum(axis=1))
        return [int(number) for number in piece]


def _three(one: Range) -> tuple[float, float, float]:
    return one.low, one.likely, one.high


# ---------------------------------------------------------------- what lidar cannot give


LEAST_UNSEEN_KM2 = 0.0005
"""Ground not seen from which it is named, square kilometres: less is 0 ha in print."""


@dataclass(frozen=True)
class OnFoot:
    """Something that has to be mapped as if there were no draft: what, its likely hours, and why."""

    what: str
    hours: float
    why: str


def all_on_foot(estimate: Estimate, /) -> list[OnFoot]:
    """What the lidar of an area does not give, priced as full fieldwork; these hours are in the whole already."""
    held, factor = estimate.held, dict(zip(TASKS, estimate.pace.factor.tolist(), strict=True))
    hours = dict(zip(TASKS, estimate.by_task.sum(axis=0).tolist(), strict=True))
    at_scale = SCALE_FACTOR[estimate.scale]
    missed = dict(zip(TASKS, (missed_h_per_km2(estimate.grades) * held["area_km2"]).tolist(), strict=True))
    always = {
        "borders": OnFoot(
            "where one may go: private, protected and forbidden ground, fences, fields, what may be crossed",
            RATES["borders"]["area_km2"] * held["area_km2"] * factor["borders"] * at_scale,
            "nobody sees it from the air",
        ),
        "paths": OnFoot(
            "small paths",
            RATES["paths"]["area_km2"] * held["area_km2"] * factor["paths"] * at_scale,
            "the relief shows the few that are worn in",
        ),
    }
    # A task that the survey cannot show at all is named whole, below.
    found = [one for task, one in always.items() if MISSED[estimate.grades[task]] < 1]
    if held["not_seen_km2"] >= LEAST_UNSEEN_KM2:
        why = f"{100 * held['not_seen_km2']:.1f} ha, taken to hold what ordinary forest holds"
        found.append(OnFoot("ground that the survey does not show", hours["not_seen"], why))
    for task, grade in estimate.grades.items():
        if task != "not_seen" and grade in SHOWN_BADLY:
            is_lost = grade != "poor"
            priced = hours[task] if is_lost else missed[task] * factor[task] * at_scale
            why = "this survey cannot show it" if is_lost else "this survey shows it poorly: much is found on foot only"
            found.append(OnFoot(TASK_NAMES[task], priced, why))
    return found
