"""Whether a draft is still as it was written, and what to do where a mapper has changed it."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
from pathlib import Path

from pipeline.files.checksums import sha256_of
from pipeline.files.disk.atomic import write_text


def note_as_known(draft: Path, /) -> None:
    """Keep the checksum of a draft of which all is known, so that a later run need not compare it row by row."""
    write_text(_noted(draft), sha256_of(draft) + "\n")


def is_known(draft: Path, /) -> bool:
    """Whether a draft is, byte for byte, as it was when it was known. An open GIS keeps changes in a file beside it."""
    beside = draft.with_name(draft.name + "-wal")
    if beside.exists() and beside.stat().st_size > 0:
        return False
    noted = _noted(draft)
    return noted.exists() and noted.read_text(encoding="utf-8").strip() == sha256_of(draft)


def _noted(draft: Path) -> Path:
    return draft.parent / "work" / f"{draft.name}.sha256"


def take_in_beside(draft: Path, /) -> None:
    """Write the changes that a GIS has put into a file beside a GeoPackage into the GeoPackage (SQLite's WAL)."""
    if draft.with_name(draft.name + "-wal").exists():
        with contextlib.closing(sqlite3.connect(draft)) as base, contextlib.suppress(sqlite3.Error):
            base.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def keep_copy(draft: Path, folder: Path, name: str, /) -> Path:
    """Keep a copy of a draft as a mapper left it."""
    folder.mkdir(parents=True, exist_ok=True)
    target = folder / name
    shutil.copy2(draft, target)
    return target
