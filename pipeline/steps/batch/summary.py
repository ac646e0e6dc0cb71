"""What came of a whole batch: its table and its page."""

from __future__ import annotations

from typing import cast

import pandas as pd

from pipeline.errors import counted
from pipeline.files import arrays
from pipeline.files.disk import atomic
from pipeline.plan.batch import Batch
from pipeline.refresh.batch.outcome import Row
from pipeline.refresh.batch.page import batch_page
from pipeline.refresh.batch.table import DONE, Failed, batch_table, sentence_of

OUTCOMES, LOGS = "outcomes", "logs"
"""Folders of a batch: a row for each area that is done; what each refresh said."""
TABLE, PAGE = "batch.csv", "batch.html"


def read_summary(batch: Batch, /) -> pd.DataFrame:
    """What is there of each area, as a table."""
    return batch_table({name: _outcome(batch, name) for name in batch.names})


def write_summary(batch: Batch, /) -> None:
    """Write `batch.csv` and `batch.html` from what is there of each area."""
    table = read_summary(batch)
    atomic.write_text(batch.folder / TABLE, table.to_csv(index=False, lineterminator="\n"))
    atomic.write_text(batch.folder / PAGE, batch_page("Areas refreshed", table))


def _outcome(batch: Batch, name: str) -> Row | Failed:
    path, log = batch.folder / OUTCOMES / f"{name}.json", batch.folder / LOGS / f"{name}.log"
    if path.exists():
        return cast("Row", arrays.read_json(path))
    return Failed(sentence_of(log.read_text(encoding="utf-8", errors="replace") if log.exists() else ""))


def describe_batch(batch: Batch, table: pd.DataFrame, /) -> str:
    """What a mapper is told at the end."""
    failed = table[table["status"] != DONE]
    first = table.iloc[0]["area"] if len(failed) < len(table) else ""
    lines = [f"{counted(len(table) - len(failed), 'area')} done, {len(failed)} failed."]
    lines += [f"  {area}: {message}" for area, message in zip(failed["area"], failed["message"], strict=True)]
    lines += [f"Fieldwork is worth while first in {first}."] if first else []
    lines += [f"Table: {batch.folder / TABLE}; to look at: {batch.folder / PAGE}"]
    lines += ["Mend what failed and run the same command again; what is done stays."] if len(failed) else []
    return "\n".join(lines) + "\n"
