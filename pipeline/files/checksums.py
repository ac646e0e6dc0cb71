"""What was found out about input files, remembered by size and date of change: a large survey is read for it once."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

from pipeline.errors import SurveyError
from pipeline.files.disk.atomic import write_text

CHUNK_BYTES = 1 << 22


def sha256_of(path: Path, /) -> str:
    """SHA-256 of a file as hexadecimal digits.

    Raises
    ------
    SurveyError
        If the file cannot be read.
    """
    digest = hashlib.sha256()
    try:
        with path.open("rb") as source:
            while chunk := source.read(CHUNK_BYTES):
                digest.update(chunk)
    except OSError as error:
        raise SurveyError(f"{path}: cannot be read ({error.strerror or error})") from error
    return digest.hexdigest()


def text_mark(text: str, /) -> str:
    """Sixteen characters that change with a text."""
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()[:16]


def mark_of(path: Path, /) -> str:
    """What tells whether a file is still the one that was read: its name, size and date of change."""
    stat = path.stat()
    return f"{path.name}|{stat.st_size}|{stat.st_mtime_ns}"


def recall(memory: Path, /) -> dict[str, str]:
    """What was remembered: mark of a file -> what was found out. A damaged memory is no reason to stop."""
    try:
        content = json.loads(memory.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return {str(key): str(value) for key, value in content.items()} if isinstance(content, dict) else {}


def remember(memory: Path, known: Mapping[str, str], /) -> None:
    """Write down what is known, if it is news."""
    if recall(memory) != known:
        write_text(memory, json.dumps(dict(known), indent=1, sort_keys=True) + "\n")
