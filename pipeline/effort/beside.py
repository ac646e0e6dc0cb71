"""Two or more estimates side by side, for a club that has to choose."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import cast

from pipeline.effort.rates.trade import TASKS
from pipeline.effort.reasons import TASK_NAMES

Record = Mapping[str, object]
"""An estimate as `pipeline.effort.record.record_of` gives it."""
LABEL_WIDTH = 40
LEAST_WIDTH = 16


def side_by_side(records: Sequence[Record], /) -> list[str]:
    """A table with a column for each estimate, as lines."""
    names = [str(record["name"]) for record in records]
    width = max(LEAST_WIDTH, *(len(name) + 2 for name in names))
    rows = [("", names)] + [(label, [cell_of(record) for record in records]) for label, cell_of in _rows(records)]
    return [f"{label:<{LABEL_WIDTH}}" + "".join(f"{cell:>{width}}" for cell in cells) for label, cells in rows]


def _rows(records: Sequence[Record]) -> list[tuple[str, Callable[[Record], str]]]:
    rows: list[tuple[str, Callable[[Record], str]]] = [
        ("ground, km2", lambda r: f"{_number(r, 'area_km2'):.2f}"),
        ("fieldwork, hours", lambda r: _range(r, "fieldwork_h")),
        (
            "  a square kilometre, likely",
            lambda r: f"{_within(r, 'fieldwork_h', 'likely') / _number(r, 'area_km2'):.0f}",
        ),
        ("drawing, hours", lambda r: _range(r, "drawing_h")),
        ("days in the field", lambda r: _range(r, "days")),
        ("  planned, with a reserve", lambda r: f"{_within(r, 'days', 'planned'):,.0f}"),
        ("calendar weeks, planned", lambda r: f"{_within(r, 'weeks', 'planned'):,.0f}"),
        ("cost, likely", lambda r: f"{_within(r, 'cost', 'likely'):,.0f} {_part(r, 'cost')['currency']}"),
        ("  a square kilometre", lambda r: f"{_within(r, 'cost', 'per_km2'):,.0f} {_part(r, 'cost')['currency']}"),
    ]
    if not all("tasks" in record for record in records):
        return rows
    rows.append(("hours a square kilometre, likely", lambda _: ""))
    rows += [(f"  {TASK_NAMES[task]}", _per_km2(number)) for number, task in enumerate(TASKS)]
    return [
        *rows,
        ("saved by the draft, hours", lambda r: f"{_within(r, 'without_draft', 'saved_h'):,.1f}"),
        ("season of the survey", lambda r: str(_part(r, "survey")["season"])),
        ("age of the survey, years", _age),
    ]


def _per_km2(number: int) -> Callable[[Record], str]:
    def cell_of(record: Record) -> str:
        task = cast("Sequence[Record]", record["tasks"])[number]
        return f"{_within(task, 'fieldwork_h', 'likely') / _number(record, 'area_km2'):.1f}"

    return cell_of


def _age(record: Record) -> str:
    years = _part(record, "survey")["age_years"]
    return "unknown" if years is None else f"{cast('float', years):.1f}"


def _part(record: Record, name: str) -> Record:
    return cast("Record", record[name])


def _number(record: Record, name: str) -> float:
    return cast("float", record[name])


def _within(record: Record, part: str, name: str) -> float:
    return _number(_part(record, part), name)


def _range(record: Record, part: str) -> str:
    low, likely, high = (_within(record, part, name) for name in ("low", "likely", "high"))
    number = ".1f" if 0 < likely < 10 and part != "days" else ",.0f"
    return f"{likely:{number}} ({low:{number}}-{high:{number}})"
