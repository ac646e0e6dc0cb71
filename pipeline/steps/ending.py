"""What is read from a finished draft to tell the mapper how it ended."""

from __future__ import annotations

from typing import cast

from pipeline.advice.ending import OPEN_FIRST, Ended, weak_kinds
from pipeline.effort.rates.trade import Range
from pipeline.effort.words import in_range
from pipeline.errors import counted
from pipeline.files.arrays import read_json
from pipeline.files.found.marks import read_marks
from pipeline.files.layers import count_by_status
from pipeline.plan.plan import Plan

CANDIDATE, REJECTED = "candidate", "rejected"
"""Values of `status` of features that the map does not draw."""


def ended_run(plan: Plan, /, *, seconds: float) -> Ended:
    """What there is to say of the draft of a plan, which a run of so many seconds has made."""
    record = read_json(plan.out / "report" / "survey.json")
    statuses = count_by_status(plan.out / "draft.gpkg")
    return Ended(
        name=plan.area.name,
        folder=str(plan.out),
        seconds=seconds,
        covered_m2=cast("dict[str, float]", record["extent"])["covered_m2"],
        files=[file for file in OPEN_FIRST if (plan.out / file).exists()],
        n_drawn=sum(number for status, number in statuses.items() if status not in (CANDIDATE, REJECTED)),
        n_candidates=statuses.get(CANDIDATE, 0),
        poor=weak_kinds(record, "poor"),
        impossible=weak_kinds(record, "not possible"),
        notes=_notes(plan),
    )


def _notes(plan: Plan) -> list[str]:
    """On the ground, the flight lines and a calibration."""
    decided = read_json(plan.out / "work" / "decided.json")
    first, *more = (plan.out / "report" / "ground.txt").read_text(encoding="utf-8").strip().splitlines()
    notes = [f"Ground: {first}" + (" Where that is stands in report/ground.txt." if more else "")]
    if decided["line_shifts"]:
        before, after = decided["line_steps_before_m"], decided["line_steps_after_m"]
        notes.append(
            f"Flight lines: levelled; where two meet, one lay {before:.2f} m above the other, now {after:.2f} m."
        )
    return notes + ([f"Calibration: {plan.limits_note}"] if plan.limits_note else []) + _marks(plan) + _work(plan)


def _marks(plan: Plan) -> list[str]:
    """How many features were marked on foot; none where nobody has."""
    n = sum(not mark.is_place for mark in read_marks(plan.marks_path, plan.crs).marks)
    return [f"Found on foot: {counted(n, 'feature')}, as {plan.marks_path.name} keeps them."] if n else []


def _work(plan: Plan) -> list[str]:
    """How long it will take, in a sentence; none where no estimate was written."""
    path = plan.out / "fieldwork" / "effort.json"
    if not path.exists():
        return []
    estimate = read_json(path)
    field, drawing = (
        in_range(Range(**cast("dict[str, float]", estimate[name]))) for name in ("fieldwork_h", "drawing_h")
    )
    return [f"Work: fieldwork {field}; drawing {drawing}. 'tussock estimate' says what drives them."]
