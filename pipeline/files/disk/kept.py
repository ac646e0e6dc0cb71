"""Results that are kept beside the mark of what they were made from, and put back when the same is asked for again.

Snakemake takes a job's files away before it runs the job again, and whether the job will find anything new is only
known once what it reads has been looked at. A step that takes long therefore keeps its results here a second time, as
links to the same files, which take no room of their own.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipeline.files.disk.atomic import replacing_folder

MARK = "mark"
"""File in a folder of kept results with the mark of what they were made from."""


def mark_of_arrays(told: str, arrays: Iterable[NDArray[np.generic]], /) -> str:
    """A mark that changes with a text and with the values, type or shape of any of some arrays, read one by one."""
    digest = hashlib.blake2b(told.encode(), digest_size=16)
    for values in arrays:
        digest.update(f"{values.dtype} {values.shape};".encode())
        digest.update(np.ascontiguousarray(values).data)
    return digest.hexdigest()


def put_back(kept: Path | None, mark: str, targets: Sequence[Path], /) -> bool:
    """Put results back that were kept under this mark; False, with nothing changed, where there are none.

    Parameters
    ----------
    kept : the folder of kept results; None where none are kept
    targets : files or folders, in the order in which they were kept
    """
    if kept is None:
        return False
    try:
        if (kept / MARK).read_text(encoding="utf-8") != mark:
            return False
        sources = [kept / str(number) for number in range(len(targets))]
        if not all(source.exists() for source in sources):
            return False
    except OSError:
        return False
    for source, target in zip(sources, targets, strict=True):
        _link(source, target)
        # Made now, as far as Snakemake can tell: what is older than what it was made from is made again.
        for path in (target, *target.rglob("*")):
            os.utime(path)
    return True


def keep(kept: Path | None, mark: str, made: Sequence[Path], /) -> None:
    """Keep results under a mark, in place of what the folder kept before.

    Raises
    ------
    InputError
        If the disk is full.
    """
    if kept is None:
        return
    with replacing_folder(kept) as folder:
        for number, source in enumerate(made):
            _link(source, folder / str(number))
        (folder / MARK).write_text(mark, encoding="utf-8")


def _link(source: Path, target: Path) -> None:
    """A second name for a file or for all files of a folder; a copy where the disk has no such names."""
    if source.is_dir():
        shutil.copytree(source, target, copy_function=_link_file, dirs_exist_ok=True, ignore=_timestamps)
    else:
        target.parent.mkdir(parents=True, exist_ok=True)
        _link_file(str(source), str(target))


def _timestamps(_folder: str, names: list[str]) -> set[str]:
    """Snakemake's own file in a folder that a job made: it writes into it."""
    return {name for name in names if name == ".snakemake_timestamp"}


def _link_file(source: str, target: str) -> None:
    Path(target).unlink(missing_ok=True)
    try:
        os.link(source, target)
    except OSError:
        shutil.copy2(source, target)
