"""Marks that `tussock notes` took in after an earlier draft was made: found beside its area file, and drawn in."""

from __future__ import annotations

import contextlib
from pathlib import Path

from pipeline.errors import InputError
from pipeline.files import arrays
from pipeline.files.found.marks import read_marks
from pipeline.plan.marked import marks_path
from pipeline.refresh.old.edits import Changed
from pipeline.refresh.old.found import Drawn, ids_of, with_marks
from pipeline.refresh.old.old_map import GivenLayer
from pipeline.refresh.old.understood import same_crs
from pipeline.settings import load_area

AREA_FILES = (".yaml", ".yml")


def drawn_marks(old: Path, run: Path, layers: list[GivenLayer], changed: Changed, /) -> Drawn | None:
    """The layers of an earlier draft with the marks that are kept for it and that it does not show yet.

    None where nothing was found on foot. Nothing is written.

    Parameters
    ----------
    old : the earlier run as the user named it
    run : the folder of its draft
    changed : what a mapper changed in the draft itself

    Raises
    ------
    InputError
        If the marks cannot be read, or are in another CRS than the draft.
    """
    path = _marks_beside(old, run)
    if path is None:
        return None
    crs = str(arrays.read_json(path).get("crs", ""))
    if not crs or not all(same_crs(str(layer.crs), crs) for layer in layers):
        raise InputError(
            f"{path}: holds marks in {crs or 'no coordinate system'}, and the earlier draft is in {layers[0].crs}; "
            "draft that area again, or move the marks elsewhere if they are of another draft"
        )
    found = with_marks(layers, read_marks(path, crs).marks, changed=ids_of(layers, changed.rows, changed.struck))
    return Drawn(found.layers, found.n_marks, path.name)


def area_file_named(old: Path, /) -> Path:
    """The area file that a user names by itself or by its folder; it need not be there."""
    return old if old.suffix.lower() in AREA_FILES else old / "area.yaml"


def _marks_beside(old: Path, run: Path) -> Path | None:
    """The file of marks of the run: beside the area file that was named, or beside one whose draft this is."""
    beside = sorted(file for ending in AREA_FILES for file in run.resolve().parent.glob(f"*{ending}"))
    for area in (area_file_named(old), *beside):
        marks = marks_path(area)
        if not area.is_file() or not marks.exists():
            continue
        with contextlib.suppress(InputError):  # an area file that is no longer right says nothing of this run
            if (area.parent / load_area(area).out).resolve() == run.resolve():
                return marks
    return None
