"""The estimate as plain values, for `fieldwork/effort.json`."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.effort.costs import RESERVE_RATIO, weeks_for
from pipeline.effort.estimate import Estimate, all_on_foot
from pipeline.effort.rates.measuring import CELL_M
from pipeline.effort.rates.trade import TASKS, Numbers
from pipeline.effort.reasons import TASK_NAMES, reason_of, reasons_of_cells
from pipeline.effort.words import describe, said_of_first, said_of_gain

Record = dict[str, object]


def record_of(estimate: Estimate, /) -> Record:
    """The whole estimate: hours in hours, money in the currency of the area file, places in metres of `crs`."""
    likely_h = float(estimate.by_task.sum())
    return {
        "name": estimate.name,
        "area_km2": round(estimate.area_km2, 4),
        "crs": estimate.crs,
        "scale": estimate.scale,
        "fieldwork_h": estimate.fieldwork(likely_h).rounded(),
        "drawing_h": estimate.drawing(likely_h).rounded(),
        "cells": _cells(estimate),
        "sheets": _sheets(estimate),
        "tasks": _tasks(estimate),
        "days": estimate.days | {"reserve_ratio": RESERVE_RATIO},
        "cost": _cost(estimate, likely_h),
        "weeks": {
            name: weeks_for(estimate.days[name], estimate.terms) for name in ("low", "likely", "high", "planned")
        },
        "without_draft": _without(estimate),
        "outside_km2": round(estimate.outside_km2, 4),
        "on_foot": [{"what": one.what, "hours": round(one.hours, 2), "why": one.why} for one in all_on_foot(estimate)],
        "to_shrink": [
            {"what": way.what, "saved_h": round(way.saved_h, 2), "why": way.why, "cells": list(way.cells)}
            for way in estimate.shrinking
        ],
        "first": _first(estimate),
        "assumptions": _assumptions(estimate),
        "survey": _survey(estimate),
        "measures": {name: round(total, 3) for name, total in estimate.held.items()},
        "words": describe(estimate),
    }


def quick_record(estimate: Estimate, /) -> Record:
    """What of a quick look is known of the whole area; nothing of it is written down."""
    likely_h = float(estimate.by_task.sum())
    return {
        "name": estimate.name,
        "area_km2": estimate.area_km2,
        "fieldwork_h": estimate.fieldwork(likely_h).rounded(),
        "drawing_h": estimate.drawing(likely_h).rounded(),
        "days": estimate.days,
        "cost": _cost(estimate, likely_h),
        "weeks": {
            name: weeks_for(estimate.days[name], estimate.terms) for name in ("low", "likely", "high", "planned")
        },
    }


def _by_task(hours: Numbers, /) -> dict[str, float]:
    return {task: round(float(one), 3) for task, one in zip(TASKS, hours, strict=True)}


def _cells(estimate: Estimate) -> list[Record]:
    by_task = estimate.by_task
    likely = by_task.sum(axis=1).tolist()
    # Money of a square is its share of the whole: days are whole only of the whole.
    rate = estimate.cost(float(by_task.sum())).likely / float(by_task.sum())
    return [
        {
            "east_m": west,
            "north_m": south,
            "side_m": CELL_M,
            "area_km2": round(area, 6),
            "fieldwork_h": estimate.fieldwork(hours).rounded(3),
            "drawing_h": estimate.drawing(hours).rounded(3),
            "by_task": _by_task(tasks),
            "cost": round(hours * rate, 2),
            "why": why,
        }
        for (west, south), area, hours, tasks, why in zip(
            (estimate.cells.place * CELL_M).tolist(),
            estimate.measures["area_km2"].tolist(),
            likely,
            by_task,
            reasons_of_cells(estimate.measures, by_task, estimate.grades),
            strict=True,
        )
    ]


def _sheets(estimate: Estimate) -> list[Record]:
    """Hours of each sheet; the whole for a single one."""
    hours, area = estimate.by_task.sum(axis=1), estimate.measures["area_km2"].to_numpy()
    shares: Mapping[str, Numbers] = estimate.sheets or {"1": hours * 0 + 1}
    return [
        {
            "sheet": name,
            "area_km2": round(float(area @ share), 4),
            "fieldwork_h": estimate.fieldwork(float(hours @ share)).rounded(),
            "drawing_h": estimate.drawing(float(hours @ share)).rounded(),
            "by_task": _by_task(estimate.by_task.T @ share),
        }
        for name, share in shares.items()
    ]


def _tasks(estimate: Estimate) -> list[Record]:
    whole = float(estimate.by_task.sum())
    cost = estimate.cost(whole).likely
    return [
        {
            "task": task,
            "name": TASK_NAMES[task],
            "fieldwork_h": estimate.fieldwork(hours).rounded(),
            "share": round(hours / whole, 4),
            "cost": round(cost * hours / whole, 2),
            "shown": estimate.grades[task],
            "why": reason_of(task, estimate.held, estimate.grades),
        }
        for task, hours in zip(TASKS, estimate.by_task.sum(axis=0).tolist(), strict=True)
    ]


def _cost(estimate: Estimate, likely_h: float) -> Record:
    cost, terms = estimate.cost(likely_h), estimate.terms
    return {
        "currency": estimate.currency,
        **cost.rounded(),
        "per_km2": round(cost.likely / estimate.area_km2, 2),
        "day_rate": terms.day_rate,
        "travel_h": {name: round(estimate.days[name] * terms.travel_h, 2) for name in ("low", "likely", "high")},
    }


def _without(estimate: Estimate) -> Record:
    without, with_draft = estimate.without_draft, estimate.by_task
    likely_h = float(without.sum())
    return {
        "fieldwork_h": estimate.fieldwork(likely_h).rounded(),
        "saved_h": round(likely_h - float(with_draft.sum()), 2),
        "saved_by_task": _by_task((without - with_draft).sum(axis=0)),
        "words": said_of_gain(estimate),
    }


def _first(estimate: Estimate) -> Record:
    piece = estimate.first
    hours, area = estimate.by_task.sum(axis=1), estimate.measures["area_km2"].to_numpy()
    return {
        "cells": piece,
        "area_km2": round(float(area[piece].sum()), 4),
        "fieldwork_h": estimate.fieldwork(float(hours[piece].sum())).rounded(),
        "words": said_of_first(estimate),
    }


def _assumptions(estimate: Estimate) -> list[Record]:
    terms = estimate.terms
    said = (
        ("day_h", terms.day_h, "hours of fieldwork in a day; six is the planning example in print"),
        ("day_rate", terms.day_rate, f"{estimate.currency} for such a day; a round figure unless you write yours"),
        ("travel_h", terms.travel_h, "hours there and back for each day in the field; our choice"),
        ("mappers", terms.mappers, "mappers in the field"),
        ("days_a_week", terms.days_a_week, "days a week that each is in the field; a weekend"),
        ("reserve_ratio", RESERVE_RATIO, "days planned on top, for rain and surprises; the planning example in print"),
    )
    settings: list[Record] = [{"name": name, "value": value, "why": why} for name, value, why in said]
    factors: list[Record] = [
        {
            "name": f"pace_{task}",
            "value": round(float(factor), 3),
            "why": "hours of this task against the trade's rates",
        }
        for task, factor in zip(TASKS, estimate.pace.factor, strict=True)
    ]
    why = " ".join(estimate.pace.said)
    spread: list[Record] = [
        {"name": f"{name}_estimate", "value": value, "why": f"of the likely hours. {why}"}
        for name, value in estimate.pace.spread.rounded().items()
        if name != "likely"
    ]
    return [*settings, *factors, *spread]


def _survey(estimate: Estimate) -> Record:
    age = estimate.age
    return {
        "season": age.season,
        "first_day": str(age.first_day) if age.first_day else None,
        "last_day": str(age.last_day) if age.last_day else None,
        "age_years": None if age.years is None else round(age.years, 2),
        "shown": dict(estimate.grades),
    }
