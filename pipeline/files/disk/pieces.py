"""Results of pieces of a step's work, kept on the disk from run to run (`pipeline.remembered` says what for).

A store is one SQLite file. It holds what the last run that ended well asked for and nothing else, so it does not grow
from run to run; and it counts for one state of code and settings only. A store that cannot be read is none: the step
works everything out.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

from pipeline.files.disk.atomic import replacing
from pipeline.remembered import MARK_BYTES, Remembered, nothing_remembered


@contextmanager
def pieces_of(store: Path | None, state: str, /) -> Iterator[Remembered]:
    """While this lasts, what a step did before is found in `store`; what it asked for is kept as it ends well.

    Parameters
    ----------
    store : the file; None where nothing is kept
    state : a mark of code and settings: what was kept under another one is not used

    Raises
    ------
    InputError
        If the disk is full.
    """
    if store is None:
        yield nothing_remembered
        return
    used: dict[bytes, bytes] = {}
    known = _read(store, state)
    n_known = len(known)

    def remembered(
        what: str, made_from: Sequence[bytes], work_out: Callable[[list[int]], Sequence[bytes]], /
    ) -> list[bytes]:
        marks = [_mark(what, piece) for piece in made_from]
        # Of pieces that are alike, one is worked out.
        missing = list({mark: number for number, mark in enumerate(marks) if mark not in known}.values())
        if missing:
            made = work_out(missing)
            known.update({marks[number]: bytes(value) for number, value in zip(missing, made, strict=True)})
        found = [known[mark] for mark in marks]
        used.update(zip(marks, found, strict=True))
        return found

    yield remembered
    if len(used) != n_known or len(known) != n_known:
        _write(store, state, used)


def _mark(what: str, piece: bytes) -> bytes:
    return hashlib.blake2b(what.encode() + b"\0" + piece, digest_size=MARK_BYTES).digest()


def _read(store: Path, state: str) -> dict[bytes, bytes]:
    """The pieces kept under this state."""
    try:
        with closing(sqlite3.connect(f"{store.resolve().as_uri()}?mode=ro", uri=True)) as base:
            if base.execute("SELECT state FROM made_with").fetchone() != (state,):
                return {}
            return dict(base.execute("SELECT mark, value FROM pieces"))
    except sqlite3.Error:
        return {}


def _write(store: Path, state: str, pieces: dict[bytes, bytes]) -> None:
    """Put a store of these pieces in place of what was there."""
    store.parent.mkdir(parents=True, exist_ok=True)
    with replacing(store) as file, closing(sqlite3.connect(file)) as base:
        base.execute("CREATE TABLE made_with (state TEXT)")
        base.execute("INSERT INTO made_with VALUES (?)", (state,))
        base.execute("CREATE TABLE pieces (mark BLOB PRIMARY KEY, value BLOB) WITHOUT ROWID")
        base.executemany("INSERT INTO pieces VALUES (?, ?)", sorted(pieces.items()))
        base.commit()
