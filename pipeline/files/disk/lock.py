"""One run at a time in an output folder."""

from __future__ import annotations

import fcntl
import functools
from pathlib import Path
from typing import TextIO

from pipeline.errors import InputError


@functools.cache
def hold_folder(folder: Path, /) -> TextIO:
    """Hold a folder for as long as this process lives; made where it is missing.

    The system keeps the lock with the open file, so that it goes when the process does, however it ends; the file
    itself stays behind and says nothing. Asking again in the same process gives the lock it has. Steps, which are
    processes of their own, neither ask for it nor inherit it (Python closes its files in new programs, PEP 446).

    Returns
    -------
    The open file: closing it would let the folder go.

    Raises
    ------
    InputError
        If another process holds the folder, or it cannot be written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        held = (folder / ".lock").open("a", encoding="utf-8")
    except OSError as error:
        raise InputError(f"{folder}: cannot be written to ({error.strerror}); choose another 'out:'") from error
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        held.close()
        raise InputError(
            f"{folder}: another run is at work here; wait for it to end, stop it, or choose another 'out:'"
        ) from error
    return held
