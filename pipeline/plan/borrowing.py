"""The files that a run borrows from: found before it starts, known by content."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pipeline.errors import InputError
from pipeline.files.borrowed import OSM_CREDIT, is_osm
from pipeline.files.checksums import sha256_of, text_mark
from pipeline.settings import Borrowing, Source

BESIDE_A_SHAPEFILE = (".dbf", ".shx", ".prj", ".cpg")
"""Endings of the files that a shapefile consists of beside the one that is named."""


def find_sources(sources: Sequence[Source], folder: Path, /) -> Borrowing:
    """The sources with whole paths, one for each file that a pattern fits, and the credit that is known.

    Parameters
    ----------
    folder : of the area file, from which paths count

    Raises
    ------
    InputError
        If a file or a table is missing, or a pattern fits none.
    """
    found = []
    for source in sources:
        table = (folder / source.table).resolve() if source.table else None
        if table and not table.is_file():
            raise InputError(f"{table}: there is no such table; correct 'table:' below 'borrow:' or leave it out")
        for path in _files(folder, source.file):
            credit = source.credit or (OSM_CREDIT if is_osm(path) else "")
            found.append(
                source.model_copy(update={"file": str(path), "credit": credit, "table": str(table) if table else None})
            )
    return Borrowing(sources=tuple(found))


def _files(folder: Path, written: str) -> list[Path]:
    """The files that are meant, in alphabetical order; a name that exists is no pattern."""
    whole = (folder / written).resolve()
    if whole.is_file():
        return [whole]
    root = Path(Path(written).anchor) if Path(written).is_absolute() else folder
    pattern = str(Path(written).relative_to(root)) if Path(written).is_absolute() else written
    fitting = sorted(path.resolve() for path in root.glob(pattern) if path.is_file()) if "*" in written else []
    if not fitting:
        raise InputError(f"{whole}: there is no such file to borrow from; correct 'borrow:' in the area file")
    return fitting


def content_of(borrowing: Borrowing, /) -> str:
    """One checksum of all files that are read."""
    paths = []
    for source in borrowing.sources:
        file = Path(source.file)
        beside = [file.with_suffix(ending) for ending in BESIDE_A_SHAPEFILE] if file.suffix.lower() == ".shp" else []
        paths += [file, *(path for path in beside if path.exists()), *([Path(source.table)] if source.table else [])]
    return text_mark(" ".join(sha256_of(path) for path in paths))
