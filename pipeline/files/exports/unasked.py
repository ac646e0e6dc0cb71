"""Exports and backdrops that an earlier run wrote and that the area file no longer asks for."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from pipeline.exports.formats import BACKDROP_SOURCES, FILES

ENDINGS = (".tif", ".png", ".pgw", ".png.aux.xml")
"""Files of a backdrop, each upright and turned."""


def drop_unasked(folder: Path, /, *, exports: Collection[str], backdrops: Collection[str]) -> None:
    """Remove them from an output folder: they would show a draft of before. Files of other names stay."""
    for kind in set(FILES) - set(exports):
        (folder / "exports" / FILES[kind]).unlink(missing_ok=True)
    for kind in set(BACKDROP_SOURCES) - set(backdrops):
        for turned in ("", "_turned"):
            for ending in ENDINGS:
                (folder / "backdrops" / f"{kind}{turned}{ending}").unlink(missing_ok=True)
