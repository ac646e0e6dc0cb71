"""What `tussock estimate` prints."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from shutil import rmtree
from typing import cast

from pipeline.effort.beside import Record, side_by_side
from pipeline.effort.quick import WHY_WIDE
from pipeline.effort.record import quick_record
from pipeline.effort.words import describe_quick, said_of_progress
from pipeline.files import arrays
from pipeline.steps.effort.quick import quick_look

FILE = "fieldwork/effort.json"
"""Where an estimate is written, below the folder of the area."""
PROGRESS = "fieldwork/progress.json"
"""Where it is written what of the check list is done."""


def drop_split(out: Path, /) -> None:
    """Remove the returns as they were laid out by block, the largest of all work files.

    An estimate keeps what a later draft needs; these it needs no more.
    """
    rmtree(out / "work" / "split", ignore_errors=True)


def told_of(outs: Sequence[Path], /) -> str:
    """The estimates that lie in some folders, in words; several side by side first."""
    records = [arrays.read_json(out / FILE) for out in outs]
    words = [
        [*cast("list[str]", record["words"]), *said_of_progress(record, _progress_of(out))]
        for record, out in zip(records, outs, strict=True)
    ]
    return _together(list(zip(records, words, strict=True)))


def _progress_of(out: Path) -> Record:
    """What `tussock notes` wrote of marks brought home; empty where there are none, or none that can be read."""
    try:
        return arrays.read_json(out / PROGRESS)
    except (OSError, ValueError, TypeError):
        return {}


def told_quickly(area_paths: Sequence[Path], /) -> str:
    """Quick looks at some areas, in words; several side by side first."""
    looks = [quick_look(path) for path in area_paths]
    told = [(quick_record(estimate), describe_quick(estimate, source, WHY_WIDE)) for estimate, source in looks]
    return _together(told)


def _together(told: Sequence[tuple[Record, list[str]]]) -> str:
    table = [*side_by_side([record for record, _ in told]), ""] if len(told) > 1 else []
    texts = ["\n".join(words) for _, words in told]
    return "\n".join(table) + ("\n" if table else "") + "\n\n".join(texts) + "\n"
