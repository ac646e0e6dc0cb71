"""What was found on foot, before a run: where it is kept, and changes in the draft itself taken in before they go."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd

from pipeline.errors import InputError, counted
from pipeline.files.checksums import text_mark
from pipeline.files.found.marks import read_marks, write_marks
from pipeline.files.found.walks import read_layers
from pipeline.files.known_drafts import is_known, keep_copy, note_as_known, take_in_beside
from pipeline.marks.edits import PROPOSED, STATED, UNTOUCHED, Edits, edits_between
from pipeline.marks.mark import Mark
from pipeline.marks.merging import merged

WRITTEN = Path("fieldwork") / "as_written.gpkg"
"""The draft as it was written, below the output folder."""
EDITED = Path("fieldwork") / "edited"
"""Copies of drafts as mappers left them."""


def marks_path(area_path: Path, /) -> Path:
    """The file beside the area file that holds what was found on foot."""
    return area_path.with_name(f"{area_path.stem}.marks.json")


def marks_content(path: Path, crs: str, /) -> str:
    """A checksum of the marks on features of the draft; empty without any. Log and places decide nothing."""
    marks = [mark for mark in read_marks(path, crs).marks if not mark.is_place]
    return text_mark("".join(mark.model_dump_json() for mark in marks)) if marks else ""


def read_written(out: Path, /) -> dict[str, gpd.GeoDataFrame]:
    """The layers of the draft as they were written; none where no copy was kept."""
    try:
        return read_layers(out / WRITTEN) if (out / WRITTEN).exists() else {}
    except InputError:  # a copy that cannot be read is as good as none
        return {}


def take_in_edits(out: Path, marks: Path, crs: str, /) -> str:
    """Take what a mapper changed in draft.gpkg into the marks before a run writes it anew; what to say of it.

    A copy of the draft as the mapper left it is kept, since not all that can be drawn in a GIS makes a mark.
    """
    draft = out / "draft.gpkg"
    if not draft.exists() or is_known(draft):
        return ""
    take_in_beside(draft)
    kept = read_marks(marks, crs)
    now = datetime.datetime.now().isoformat(timespec="seconds")
    try:
        found = _edits_of(draft, read_written(out), crs, kept.by_id, now)
    except InputError as error:
        found = Edits(warnings=[f"{error}, so that no change of yours could be taken in"])
    note_as_known(draft)
    if not found and not found.warnings:
        return ""
    copy = keep_copy(draft, out / EDITED, f"draft_{now.replace(':', '')}.gpkg")
    if found:
        write_marks(marks, merged(kept, found.marks, at=now, source=draft.name, withdrawn=found.withdrawn))
    return _said(found, marks, copy)


def _edits_of(
    draft: Path, written: Mapping[str, gpd.GeoDataFrame], crs: str, known: Mapping[str, Mark], now: str
) -> Edits:
    tables = read_layers(draft)
    is_exact = all(table.crs is None or table.crs == crs for table in tables.values() if len(table))
    edited = {
        name: table if table.crs is None or table.crs == crs else table.to_crs(crs) for name, table in tables.items()
    }
    before = written or _without_words(edited)
    return edits_between(before, edited, known, source=draft.name, at=now, is_exact=is_exact)


def _without_words(edited: Mapping[str, gpd.GeoDataFrame]) -> dict[str, gpd.GeoDataFrame]:
    """A draft of which no copy was kept, as it may have been: a status that no draft gives was a candidate's."""
    found = {}
    for name, table in edited.items():
        if {"id", "symbol", "status", "confidence"} <= set(table.columns):
            status = table["status"].where(table["status"].isin(UNTOUCHED), "candidate")
            found[name] = table.assign(**{"status": status, STATED: table["confidence"], PROPOSED: status})
    return found


def _said(found: Edits, marks: Path, copy: Path) -> str:
    lines = [f"Before drawing anew: {warning}." for warning in found.warnings]
    if found:
        n = len(found.marks) + len(found.withdrawn)
        kept = "is kept in" if n == 1 else "are kept in"
        lines.append(
            f"Found {counted(n, 'change')} of yours in draft.gpkg; {'it' if n == 1 else 'they'} {kept} {marks.name} "
            "and will be in the new draft."
        )
    lines.append(f"The draft as you left it is copied to {copy.parent.parent.name}/{copy.parent.name}/{copy.name}.")
    return "\n".join(lines)
