"""How much memory and disk there is, and whether an error means that the disk is full."""

from __future__ import annotations

import errno
import shutil
from pathlib import Path

import psutil

FULL_BELOW_BYTES = 4 << 20
"""Less free disk than this is full: what fails at the end of a disk leaves a few blocks that no file fits into."""
_FULL = (errno.ENOSPC, errno.EDQUOT)
# What numpy (asking for room before it writes; writing in part), GDAL and SQLite say of a full disk.
_FULL_WORDS = ("not enough free space", "requested and", "no space left", "disk is full", "disk quota")


def free_memory_mb() -> int:
    """Memory that programs could have without others being moved out to disk, MB."""
    return int(psutil.virtual_memory().available / 1e6)


def free_disk_bytes(folder: Path, /) -> int:
    """Free disk where a folder lies or would lie."""
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    return shutil.disk_usage(folder).free


def is_disk_full(error: BaseException, folder: Path, /) -> bool:
    """Whether an error came of a full disk: it, or one it was raised from, says so, or there is nothing left.

    Numpy, GDAL and SQLite each fail at a full disk with errors of their own that do not name it.
    """
    cause: BaseException | None = error
    while cause is not None:
        if isinstance(cause, OSError) and cause.errno in _FULL:
            return True
        if any(word in str(cause).lower() for word in _FULL_WORDS):
            return True
        cause = cause.__cause__ or cause.__context__
    return free_disk_bytes(folder) < FULL_BELOW_BYTES


def full_disk_message(folder: Path, /) -> str:
    """What a mapper is told."""
    return (
        f"{folder}: the disk is full ({free_disk_bytes(folder) / 1e6:.0f} MB are free). Make room, or choose an 'out:' "
        "on another disk; the same command then goes on from here"
    )
