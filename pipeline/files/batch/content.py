"""What tells whether an earlier run or map is still the one that was compared."""

from __future__ import annotations

from pathlib import Path

from pipeline.files.checksums import sha256_of, text_mark

BELOW = ("rasters", "points")
"""Folders of a run that a comparison reads: known by names and sizes, as they are large."""


def content_of_old(old: Path, /) -> str:
    """A checksum of an earlier run or map; that of nothing where it is not there.

    Of a folder all files that lie in it count by content, of a shapefile all files of its name; dates never do, so
    that a copy is as good as the original.
    """
    if old.is_dir():
        files = sorted(path for path in old.iterdir() if path.is_file() and not path.name.startswith("."))
        large = sorted(path for name in BELOW for path in (old / name).rglob("*") if path.is_file())
    else:
        beside = old.parent.glob(f"{old.stem}.*") if old.suffix.lower() == ".shp" else [old]
        files, large = sorted(path for path in beside if path.is_file()), []
    told = [f"{path.name} {sha256_of(path)}" for path in files]
    return text_mark("\n".join([*told, *(f"{path.relative_to(old)} {path.stat().st_size}" for path in large)]))
