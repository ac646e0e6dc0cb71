"""Writing so that a killed run leaves no half file: beside the target first, then renamed."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipeline.errors import InputError
from pipeline.files.disk.room import full_disk_message, is_disk_full


@contextmanager
def replacing(path: Path, /) -> Iterator[Path]:
    """A path to write to; it takes the place of `path` when the block ends well, and goes away when it does not.

    The temporary name keeps the ending, since drivers choose the format by it.

    Raises
    ------
    InputError
        If the folder cannot be written to, or the disk is full.
    """
    part = path.with_name(f".{path.stem}.{os.getpid()}.part{path.suffix}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
    except OSError as error:
        raise InputError(f"{path.parent}: cannot be written to ({error.strerror}); choose another 'out:'") from error
    try:
        with _clear_when_full(path.parent):
            yield part
            part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def write_new_text(path: Path, text: str, /) -> bool:
    """Write a text file that is not there yet; False, with nothing changed, where anything has that name.

    Raises
    ------
    InputError
        If the folder cannot be written to.
    """
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        return False
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({error.strerror})") from error
    return True


@contextmanager
def scratch_beside(path: Path, /) -> Iterator[Path]:
    """A path beside another for what is only needed to make it; what is written there goes when the block ends."""
    scratch = path.with_name(f".{path.stem}.{os.getpid()}.scratch{path.suffix}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # Asked while the scratch is there: once it has gone, the disk is no longer full.
        with _clear_when_full(path.parent):
            yield scratch
    finally:
        scratch.unlink(missing_ok=True)


@contextmanager
def replacing_folder(path: Path, /) -> Iterator[Path]:
    """The same for a whole folder: filled beside the target, then put in its place."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    shutil.rmtree(part, ignore_errors=True)
    try:
        with _clear_when_full(path.parent):
            part.mkdir(parents=True)
            yield part
            shutil.rmtree(path, ignore_errors=True)
            part.replace(path)
    finally:
        shutil.rmtree(part, ignore_errors=True)


@contextmanager
def _clear_when_full(folder: Path) -> Iterator[None]:
    """Turn whatever a full disk makes fail into one message; asked before the half-written file is taken away."""
    try:
        yield
    except InputError:
        raise
    except Exception as error:
        if is_disk_full(error, folder):
            raise InputError(full_disk_message(folder)) from error
        raise


def check_writable(folder: Path, /) -> None:
    """Make the folder and a file in it, so that a run fails before the work and not after it.

    Raises
    ------
    InputError
        If the folder cannot be made or written to.
    """
    probe = folder / ".writable"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise InputError(f"{folder}: cannot be written to ({error.strerror}); choose another 'out:'") from error


def write_text(path: Path, text: str, /) -> None:
    """Write a text file."""
    with replacing(path) as part:
        part.write_text(text, encoding="utf-8")


def write_bytes(path: Path, content: bytes, /) -> None:
    """Write a file of bytes."""
    with replacing(path) as part:
        part.write_bytes(content)
