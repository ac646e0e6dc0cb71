"""Records of the tiles that were written back: a small file each, under a name that is safe everywhere.

A tile is written back under its own name, which may hold what Snakemake would misread; the record stands for it.
"""

from __future__ import annotations

import shutil
from collections.abc import Collection
from pathlib import Path

from pipeline.files import arrays
from pipeline.files.checksums import sha256_of
from pipeline.lattice.blocks import is_block_name

RECORDS = Path("work") / "labelled"
"""Where the records lie in the output folder, `NAME.json` each."""


def record_written(record: Path, points: Path, /) -> None:
    """Write down that a tile was written back, and what into; after the tile itself is in its place."""
    arrays.write_json(record, {"points": points.as_posix(), "sha256": sha256_of(points)})


def written_points(out: Path, /) -> dict[str, str]:
    """File that was written back, from the output folder -> its checksum."""
    found = map(arrays.read_json, sorted((out / RECORDS).glob("*.json")))
    return {str(record["points"]): str(record["sha256"]) for record in found}


def forget_lost(out: Path, /) -> None:
    """Take away the records of files that are gone, so that they are made again."""
    for path in (out / RECORDS).glob("*.json"):
        if not (out / str(arrays.read_json(path)["points"])).exists():
            path.unlink()


def drop_removed(out: Path, kept: Collection[str], /) -> None:
    """Take away the files of tiles that are no longer in the area, with their records.

    Parameters
    ----------
    kept : names of the tiles that are in it, as records are named
    """
    for path in (out / RECORDS).glob("*.json"):
        if path.stem not in kept:
            (out / str(arrays.read_json(path)["points"])).unlink(missing_ok=True)
            path.unlink()
            shutil.rmtree(out / "work" / "seen" / path.stem, ignore_errors=True)


def drop_other_blocks(work: Path, kept: Collection[str], /) -> None:
    """Take away what earlier runs left of blocks that are no longer worked on.

    Parameters
    ----------
    kept : names of the blocks that are
    """
    names = set(kept)
    for path in work.glob("*/[ew]*_[ns]*"):
        name = path.name.partition(".")[0]
        if is_block_name(name) and name not in names:
            shutil.rmtree(path) if path.is_dir() else path.unlink()
