"""The table of a batch: what came of each area, where fieldwork is worth while first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from pipeline.refresh.batch.outcome import CHANGES, Row

DONE, FAILED = "done", "failed"
COLUMNS = (
    "rank",
    "area",
    "status",
    "message",
    *CHANGES,
    "places",
    "verified_unchanged",
    "to_check_h",
    "changes_per_h",
    "fieldwork_low_h",
    "fieldwork_h",
    "fieldwork_high_h",
    "old_season",
    "new_season",
    "page",
)


@dataclass(frozen=True)
class Failed:
    """An area that could not be refreshed, and the sentence that says why."""

    message: str


def batch_table(outcomes: Mapping[str, Row | Failed], /) -> pd.DataFrame:
    """A row for each area, columns as in COLUMNS; ranked are those that are done.

    First comes where an hour on foot may expect to find most changes (`changes_per_h`); areas of which no hours are
    known follow, those with most places first; failed ones stand at the end, in the order of the list. Our choice.
    """
    rows: list[dict[str, object]] = [
        {"area": name, "status": FAILED, "message": found.message}
        if isinstance(found, Failed)
        else {"area": name, "status": DONE, "message": "", **found}
        for name, found in outcomes.items()
    ]
    table = pd.DataFrame(rows, columns=list(COLUMNS[1:]), dtype=object)
    order = sorted(range(len(table)), key=lambda number: _place(rows[number]))
    table = table.iloc[order].reset_index(drop=True)
    done = table["status"] == DONE
    table.insert(0, "rank", pd.Series(range(1, len(table) + 1)).where(done).astype("Int64"))
    for column in (*CHANGES, "places"):
        table[column] = pd.to_numeric(table[column]).astype("Int64")
    return table


def _place(row: Mapping[str, object]) -> tuple[bool, float, float]:
    """What an area is ordered by, lowest first."""
    per_hour, places = (row.get(name) for name in ("changes_per_h", "places"))
    return row["status"] != DONE, -float(str(per_hour or 0.0)), -float(str(places or 0.0))


def sentence_of(log: str, /) -> str:
    """The sentence in a log that says why an area failed: the last one meant for the mapper, else its last line."""
    lines = [line.strip() for line in log.splitlines() if line.strip()]
    meant = [number for number, line in enumerate(lines) if line.startswith("tussock: ")]
    if meant:
        return lines[meant[-1]].removeprefix("tussock: ")
    return lines[-1] if lines else "it ended without a word; was there enough memory?"
