"""Whether two runs gave the same files: `python -m tests.same_files OUT OTHER`."""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path

RESULTS = ("draft.gpkg", "rasters/*", "points/*", "sheets/*", "report/*")
"""What a user takes from the output folder; the rest is work in between, logs and the record of the run."""


def results_of(out: Path, /) -> dict[str, str]:
    """Name and checksum of each file that a run is made for."""
    files = sorted(path for pattern in RESULTS for path in out.glob(pattern) if path.is_file())
    return {str(path.relative_to(out)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def differing(one: dict[str, str], other: dict[str, str], /) -> list[str]:
    """Names of files that only one run has or whose bytes differ."""
    return sorted(name for name in one.keys() | other.keys() if one.get(name) != other.get(name))


def main() -> None:
    """Say how many files are the same, or end with those that are not."""
    one, other = (results_of(Path(out)) for out in sys.argv[1:3])
    if not one:
        raise SystemExit(f"{sys.argv[1]} holds no results")
    if wrong := differing(one, other):
        raise SystemExit(f"these files differ: {', '.join(wrong)}")
    print(f"{len(one)} files, byte for byte the same")


if __name__ == "__main__":
    main()
