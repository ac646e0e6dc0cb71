"""The files of a walk, each with the checksum by which it is known when it comes again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from pipeline.errors import InputError
from pipeline.files.checksums import sha256_of
from pipeline.files.found.walks import READERS, read_walk
from pipeline.marks.walk import Walk


def read_walks(paths: Sequence[Path], crs: str, /) -> list[Walk]:
    """What each file holds, in the order given; a folder stands for the files in it.

    Raises
    ------
    InputError
        If a file is missing, is of no kind that can be read, or is broken.
    """
    files = [file for path in paths for file in (_in_folder(path) if path.is_dir() else [path])]
    return [replace(read_walk(path, crs), sha256=sha256_of(path)) for path in files]


def _in_folder(folder: Path) -> list[Path]:
    found = sorted(path for path in folder.iterdir() if path.suffix.lower() in READERS)
    if not found:
        raise InputError(f"{folder}: holds no file of a walk ({', '.join(READERS)})")
    return found
