"""What a draft saves, task by task, and what the survey cannot show and has to be found on foot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import cast

import numpy as np
import pandas as pd

from pipeline.effort.rates.trade import TASKS, Numbers, ordinary_h_per_km2

SAVED: Mapping[str, float] = {
    "greens": 0.2,
    "rock": 0.25,
    "landform": 0.4,
    "paths": 0.15,
    "water": 0.25,
    "borders": 0.1,
    "not_seen": 0.0,
}
"""Share of the hours of a task that a draft saves at best, in forest that was well seen. Our choice: nobody has
measured it. It fits what is said of Nordic forest, 15 to 30 hours a square kilometre with lidar (unverified)."""
GRADE_SHARE: Mapping[str, float] = {"good": 1.0, "usable": 0.7, "poor": 0.3, "not possible": 0.0, "not drawn": 0.0}
"""How much of that is left, by how well the survey shows the kind of feature. Our choice."""
MISSED: Mapping[str, float] = {"good": 0.0, "usable": 0.0, "poor": 0.25, "not possible": 1.0, "not drawn": 1.0}
"""Features that are there and not in the draft, as a share of those in ordinary forest, by the same grades. They are
found on foot and take their whole time. Our choice; the usual misses of a usable survey are in the rates."""
JUDGED_BY: Mapping[str, tuple[str, ...]] = {
    "greens": ("runnability",),
    "rock": ("boulders", "cliffs"),
    "landform": ("landform detail",),
    "paths": ("paths",),
    "water": ("water", "streams"),
    "borders": ("buildings",),
}
"""Kinds of feature of the survey's verdicts that tell how well a task's are seen; of several the least counts."""
GRADES = tuple(GRADE_SHARE)


def grades_of(survey: Mapping[str, object], /) -> dict[str, str]:
    """How well the survey shows what each task is about: task to grade.

    Parameters
    ----------
    survey : of `pipeline.survey.record.survey_record`, as `report/survey.json` holds it
    """
    verdicts = {v["feature"]: v["grade"] for v in cast("Sequence[dict[str, str]]", survey.get("verdicts", ()))}
    found = {}
    for task, kinds in JUDGED_BY.items():
        grades = [verdicts[kind] for kind in kinds if kind in verdicts]
        found[task] = max(grades, key=GRADES.index) if grades else "usable"
    return found | {"not_seen": "not possible"}


def missed_h_per_km2(grades: Mapping[str, str], /) -> Numbers:
    """(tasks,) hours a square kilometre for features that the survey does not show."""
    return np.array([MISSED[grades[task]] * ordinary_h_per_km2(task) for task in TASKS])


def saved_share(measures: pd.DataFrame, grades: Mapping[str, str], /) -> Numbers:
    """(n, tasks) share of the hours without a draft that the draft saves.

    Nothing is saved on open land, where a mapper sees all from one place, nor on ground that was not seen.
    """
    area = np.maximum(measures["area_km2"].to_numpy(), 1e-9)
    share = 1 - (measures["open_km2"].to_numpy() + measures["not_seen_km2"].to_numpy()) / area
    at_best = np.array([SAVED[task] * GRADE_SHARE[grades[task]] for task in TASKS])
    return np.asarray(np.clip(share, 0.0, 1.0)[:, None] * at_best, np.float64)
