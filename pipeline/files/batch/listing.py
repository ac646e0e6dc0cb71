"""The list of a batch: a table with a row for each area."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import InputError

NEEDED, OPTIONAL = ("old", "area"), ("numbers",)
"""Columns that a list must and may have."""
COLUMNS = "columns old, area and, if you like, numbers"


@dataclass(frozen=True)
class Listed:
    """A row of the list, its paths whole.

    Attributes
    ----------
    line : of the list
    old : the earlier run or map
    area : the area file of the new tiles, or its folder
    numbers : a table of the old map's own numbers; None without one
    """

    line: int
    old: Path
    area: Path
    numbers: Path | None


def read_list(path: Path, /) -> list[Listed]:
    """The areas to refresh, in the order of the list; whether their files are there is not asked.

    Raises
    ------
    InputError
        If the list cannot be read, lacks a column, has no rows, leaves a cell empty or names an area twice.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"{path}: cannot be read as a table ({error}); a list is a CSV with {COLUMNS}") from error
    missing = [column for column in NEEDED if not rows or column not in rows[0]]
    if missing:
        what = f"has no column '{missing[0]}'" if rows else "has no rows"
        raise InputError(f"{path}: {what}; a list is a CSV with {COLUMNS}, and a row for each area")
    listed: list[Listed] = []
    for number, row in enumerate(rows, start=2):
        listed.append(_listed(path, number, row))
        twin = next((one for one in listed[:-1] if one.area == listed[-1].area), None)
        if twin:
            raise InputError(f"{path}: line {number} names the same area as an earlier one, {twin.area}; take one out")
    return listed


def _listed(path: Path, line: int, row: dict[str, str | None]) -> Listed:
    """A row; paths in it count from the folder of the list."""
    cells = {column: (row.get(column) or "").strip() for column in NEEDED + OPTIONAL}
    for column in NEEDED:
        if not cells[column]:
            raise InputError(f"{path}: line {line} has nothing in column '{column}'; fill it in or take the line out")
    old, area, numbers = ((path.parent / cells[column]).resolve() for column in NEEDED + OPTIONAL)
    return Listed(line, old, area, numbers if cells["numbers"] else None)
