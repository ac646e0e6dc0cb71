"""SHA-256 of input files, remembered by size and date of change so that a large survey is read for it once."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from pipeline.files.atomic import write_text

CHUNK_BYTES = 1 << 22


def sha256_of(path: Path, /) -> str:
    """SHA-256 of a file as hexadecimal digits."""
    digest = hashlib.sha256()
    with path.open("rb") as source:
        while chunk := source.read(CHUNK_BYTES):
            digest.update(chunk)
    return digest.hexdigest()


def checksums_of(paths: list[Path], /, *, memory: Path) -> dict[Path, str]:
    """SHA-256 of each file; what `memory` (a JSON file) still knows is not computed again."""
    known = _recall(memory)
    found, now = {}, {}
    for path in paths:
        stat = path.stat()
        key = f"{path}|{stat.st_size}|{stat.st_mtime_ns}"
        now[key] = found[path] = known.get(key) or sha256_of(path)
    if now != known:
        write_text(memory, json.dumps(now, indent=1, sort_keys=True))
    return found


def _recall(memory: Path) -> dict[str, str]:
    """What was remembered; a damaged memory is no reason to stop."""
    try:
        content = json.loads(memory.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return {str(key): str(value) for key, value in content.items()} if isinstance(content, dict) else {}
