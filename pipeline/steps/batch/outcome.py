"""What came of the refresh of one area of a batch, taken from the files it wrote."""

from __future__ import annotations

import os
from pathlib import Path

from pipeline.files import arrays
from pipeline.files.tables import read_table
from pipeline.refresh.batch.outcome import outcome_of

PAGES = ("changes.html", "index.html")
"""Pages of an area, the one to open first: what changed, or else the draft alone."""


def write_outcome(folder: Path, out: Path, /) -> None:
    """Write a row of the batch's table, as JSON, for an area whose refresh in its folder has ended well."""
    effort = folder / "fieldwork" / "effort.json"
    changes = folder / "fieldwork" / "changes_list.csv"
    sure = read_table(changes)["sure"].astype(float).tolist() if changes.exists() else []
    row = outcome_of(
        arrays.read_json(folder / "refresh.json"), arrays.read_json(effort) if effort.exists() else {}, sure
    )
    page = next((path for name in PAGES if (path := folder / "report" / name).exists()), None)
    # Written as a way from the page of the batch, so that the whole may be moved together.
    row["page"] = Path(os.path.relpath(page, out.resolve().parents[1])).as_posix() if page else None
    arrays.write_json(out, row)
