"""Why a task takes its hours, in the words of a mapper."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd

from pipeline.effort.rates.gain import JUDGED_BY
from pipeline.effort.rates.trade import TASKS, Numbers
from pipeline.errors import counted

TASK_NAMES: Mapping[str, str] = {
    "greens": "greens and open land",
    "rock": "rock",
    "landform": "contours and landforms",
    "paths": "paths and rides",
    "water": "water",
    "borders": "walls, buildings, edges",
    "not_seen": "ground not seen",
}
"""Task to what it is called in print."""
SHOWN_BADLY = ("poor", "not possible", "not drawn")
Held = Mapping[str, float]
"""Name of a measure (`pipeline.effort.rates.trade.MEASURES`) to how much of it there is."""


def _n(held: Held, measure: str, one: str, many: str = "") -> str:
    return counted(round(held[measure]), one, many)


def _km(held: Held, measure: str) -> str:
    return f"{held[measure]:.1f} km"


def _greens(held: Held) -> str:
    return f"{_n(held, 'stands', 'stand or tree', 'stands and trees')}, {_km(held, 'edges_km')} of edges"


def _rock(held: Held) -> str:
    return f"{_n(held, 'rocks', 'rock or cliff', 'rocks and cliffs')}, {_km(held, 'rock_km')} of cliffs and edges"


def _landform(held: Held) -> str:
    slope = held["slope_km2"] / held["area_km2"]
    forms = _n(held, "landforms", "knoll, pit or bank", "knolls, pits and banks")
    return f"{_km(held, 'contour_km')} of contours, {forms}, slope {slope:.0%}"


def _paths(held: Held) -> str:
    return f"{_km(held, 'paths_km')} to walk along, and small ones to look for"


def _water(held: Held) -> str:
    return f"{_n(held, 'waters', 'stream or pond', 'streams and ponds')}, {_km(held, 'water_km')} of banks"


def _borders(held: Held) -> str:
    return f"{_n(held, 'built', 'built thing or edge', 'built things and edges')}, {_km(held, 'built_km')} of them"


def _not_seen(held: Held) -> str:
    return f"{100 * held['not_seen_km2']:.1f} ha that the survey does not show"


_REASONS: Mapping[str, Callable[[Held], str]] = {
    "greens": _greens,
    "rock": _rock,
    "landform": _landform,
    "paths": _paths,
    "water": _water,
    "borders": _borders,
    "not_seen": _not_seen,
}


def reason_of(task: str, held: Held, grades: Mapping[str, str], /) -> str:
    """What makes the hours of a task on a piece of ground, and how badly the survey shows it where it does so badly."""
    said = _REASONS[task](held)
    if task in JUDGED_BY and grades[task] in SHOWN_BADLY:
        how = "poorly" if grades[task] == "poor" else "not at all"
        return f"{said}; the survey shows {' or '.join(JUDGED_BY[task])} {how}"
    return said


def reasons_of_cells(measures: pd.DataFrame, by_task: Numbers, grades: Mapping[str, str], /) -> list[str]:
    """For each square the two tasks that take most of its hours, with their reasons."""
    rows: list[dict[str, float]] = [
        dict(zip(measures.columns, map(float, row), strict=True)) for row in measures.to_numpy()
    ]
    most = np.argsort(-by_task, axis=1, kind="stable")[:, :2]
    return [
        "mostly " + "; then ".join(f"{TASK_NAMES[TASKS[k]]}: {reason_of(TASKS[k], row, grades)}" for k in two)
        for row, two in zip(rows, most.tolist(), strict=True)
    ]
