"""Records of the tiles that were written back: a small file each, under a name that is safe everywhere.

A tile is written back under its own name, which may hold what Snakemake would misread; the record stands for it.
"""

from __future__ import annotations

import shutil
from collections.abc import Collection
from pathlib import Path

from pipeline.files import arrays
from pipeline.files.checksums import sha256_of

RECORDS = Path("work") / "labelled"
"""Where the records lie in the output folder, `NAME.json` each."""


def record_written(record: Path, points: Path, /) -> None:
    """Write down that a tile was written back, and what into; after the tile itself is in its place."""
    arrays.write_json(record, {"points": points.as_posix(), "sha256": sha256_of(points)})


def written_points(out: Path, /) -> dict[str, str]:
    """File that was written back, from the output folder -> its checksum."""
    return {record["points"]: record["sha256"] for record in map(_read, _records(out))}


def forget_lost(out: Path, /) -> None:
    """Take away the records of files that are gone, so that they are made again."""
    for path in _records(out):
        points = _read(path).get("points")
        if points is None or not (out / points).exists():
            path.unlink()


def drop_removed(out: Path, kept: Collection[str], /) -> None:
    """Take away the files of tiles that are no longer in the area, with their records.

    Parameters
    ----------
    kept : names of the tiles that are in it, as records are named
    """
    names = set(kept)
    for path in _records(out):
        if path.stem not in names:
            (out / _read(path)["points"]).unlink(missing_ok=True)
            path.unlink()
            shutil.rmtree(out / "work" / "seen" / path.stem, ignore_errors=True)


def drop_others(work: Path, folders: Collection[str], kept: Collection[str], /) -> None:
    """Take away what earlier runs left of blocks or fields that are no longer worked on.

    Parameters
    ----------
    folders : folders of the work files that hold a file or folder each, such as `grids`
    kept : names of those that are worked on
    """
    names = set(kept)
    for folder in folders:
        for path in (work / folder).glob("[!.]*"):
            if path.name.partition(".")[0] not in names:
                shutil.rmtree(path) if path.is_dir() else path.unlink()


def _records(out: Path) -> list[Path]:
    return sorted((out / RECORDS).glob("[!.]*.json"))


def _read(record: Path) -> dict[str, str]:
    return {key: str(value) for key, value in arrays.read_json(record).items()}
