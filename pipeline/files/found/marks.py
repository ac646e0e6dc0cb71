"""The marks of an area on disk: one JSON file beside the area file."""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError

from pipeline.errors import InputError
from pipeline.files.disk.atomic import write_text
from pipeline.marks.mark import Kept


def read_marks(path: Path, crs: str, /) -> Kept:
    """The marks kept in a file; none where there is no such file.

    Raises
    ------
    InputError
        If the file holds no marks, or its marks are in another coordinate system than the area's.
    """
    if not path.exists():
        return Kept(crs=crs)
    try:
        kept = Kept.model_validate_json(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, ValidationError) as error:
        raise InputError(
            f"{path}: cannot be read as the marks of an area; restore it from a copy, or remove it "
            "and give the files of the walks to 'tussock notes' again"
        ) from error
    if kept.crs != crs:
        raise InputError(
            f"{path}: its marks are in {kept.crs}, and the area is now in {crs}; put 'crs: {kept.crs}' back into the "
            "area file, or remove the marks and give the files of the walks to 'tussock notes' again"
        )
    return kept


def write_marks(path: Path, kept: Kept, /) -> None:
    """Write the marks; equal marks are equal bytes."""
    write_text(path, kept.model_dump_json(indent=1) + "\n")
