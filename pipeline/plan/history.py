"""The club's history of hours: checked before a run, and what tells whether it has changed."""

from __future__ import annotations

from pathlib import Path

from pipeline.files.checksums import mark_of, text_mark
from pipeline.files.effort.history import read_history


def history_content(path: Path | None, /, *, own_out: Path) -> str:
    """A checksum of a history, of the outlines it names and of the drafts of other areas; empty without one.

    Raises
    ------
    InputError
        If the history cannot be used.
    """
    if path is None:
        return ""
    drafts = [past.out / "draft.gpkg" if past.out else past.file for past in read_history(path, own_out=own_out)]
    others = [mark_of(draft) for draft in drafts if draft.parent != own_out]
    return text_mark("\n".join([path.read_text(encoding="utf-8-sig"), *others]))
