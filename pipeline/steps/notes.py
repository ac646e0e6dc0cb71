"""`tussock notes`: what was found on foot is read, kept, learned from, and taken off the check list."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import pandas as pd
from shapely.geometry import Point

from pipeline.errors import InputError
from pipeline.files import arrays, rasters
from pipeline.files.checksums import sha256_of
from pipeline.files.disk.atomic import write_text
from pipeline.files.disk.lock import hold_folder
from pipeline.files.fieldwork.check_lists import write_open_rows
from pipeline.files.found.listed import read_listed
from pipeline.files.found.marks import read_marks, write_marks
from pipeline.files.found.walks import READERS, read_walk
from pipeline.marks.edits import edits_between
from pipeline.marks.learning import learned_from
from pipeline.marks.mark import Kept, Mark
from pipeline.marks.merging import merged
from pipeline.marks.naming import Ground, marks_of
from pipeline.marks.progress import open_rows, progress_of, ranked_anew
from pipeline.marks.told import Outcome
from pipeline.marks.walk import Walk
from pipeline.marks.walked import passed
from pipeline.plan.marked import read_written, take_in_edits
from pipeline.plan.plan import Plan
from pipeline.vegetation.running.runnability import BAND_OF

ANSWERS = Path("fieldwork") / "running_notes.csv"
"""Notes on runnability among the marks, for `tussock calibrate`; below the output folder."""


def take_in(plan: Plan, files: list[Path], /) -> Outcome:
    """Read the files of a walk; keep their marks, shorten the check list, and say what was found.

    Nothing is written before all files are read.

    Raises
    ------
    InputError
        If the area has no draft yet, or a file cannot be read.
    """
    draft = plan.out / "draft.gpkg"
    if not draft.exists():
        raise InputError(f"{plan.out}: holds no draft yet; run 'tussock draft {plan.area_path.name}' first")
    walks = _read_walks(files, plan.crs)
    hold_folder(plan.out)
    list_path = plan.out / "fieldwork" / "check_list.csv"
    listed = read_listed(list_path)
    outcome = Outcome(edits_note=take_in_edits(plan.out, plan.marks_path, plan.crs))
    kept = before = read_marks(plan.marks_path, plan.crs)
    written = _written(plan.out)
    for walk in walks:
        if walk.sha256 in {entry.sha256 for entry in kept.log}:
            outcome.repeated.append(walk.source)
            continue
        kept = _taken(walk, kept, listed, written, plan, outcome)
    write_marks(plan.marks_path, kept)
    outcome.learned = learned_from(kept)
    outcome.progress = progress_of(listed, kept)
    arrays.write_json(plan.out / "fieldwork" / "progress.json", outcome.progress)
    if list_path.exists():
        left = ranked_anew(open_rows(listed, kept), learned_from(before), outcome.learned)
        write_open_rows(plan.out / "fieldwork", left)
    outcome.answers_file = _write_answers(plan.out, kept)
    outcome.marks_file, outcome.area_file = plan.marks_path.name, plan.area_path.name
    return outcome


def _read_walks(paths: Sequence[Path], crs: str) -> list[Walk]:
    """What each file holds, in the order given, with its checksum; a folder stands for the files in it."""
    files = [file for path in paths for file in (_in_folder(path) if path.is_dir() else [path])]
    return [replace(read_walk(path, crs), sha256=sha256_of(path)) for path in files]


def _in_folder(folder: Path) -> list[Path]:
    found = sorted(path for path in folder.iterdir() if path.suffix.lower() in READERS)
    if not found:
        raise InputError(f"{folder}: holds no file of a walk ({', '.join(READERS)})")
    return found


def _written(out: Path) -> dict[str, gpd.GeoDataFrame]:
    written = read_written(out)
    if not written:
        raise InputError(
            f"{out}: this draft was made by an earlier version, which kept no copy to compare with; run "
            "'tussock draft' once more before you take in marks"
        )
    return written


def _taken(
    walk: Walk, kept: Kept, listed: pd.DataFrame, written: Mapping[str, gpd.GeoDataFrame], plan: Plan, outcome: Outcome
) -> Kept:
    """The marks with those of one walk."""
    now = datetime.datetime.now().isoformat(timespec="seconds")
    ground = Ground(listed, _features(written), kept.by_id)
    named = marks_of(walk.spots, ground, source=walk.source)
    marks, withdrawn = list(named.marks), list[str]()
    if walk.edited is not None:
        edits = edits_between(written, walk.edited, kept.by_id, source=walk.source, at=now, is_exact=walk.is_exact)
        marks += [_listed_too(mark, ground) for mark in edits.marks]
        withdrawn = edits.withdrawn
        outcome.warnings += edits.warnings
    marks += _walked_past(walk, ground, {mark.id for mark in marks}, plan)
    outcome.marks += marks
    outcome.untouched += named.untouched
    outcome.unclear += named.unclear
    outcome.warnings += [*walk.warnings, *named.warnings]
    return merged(kept, marks, at=now, source=walk.source, sha256=walk.sha256, withdrawn=withdrawn)


def _features(written: Mapping[str, gpd.GeoDataFrame]) -> dict[str, tuple[str, pd.Series]]:
    return {str(row["id"]): (name, row) for name, table in written.items() for _, row in table.iterrows()}


def _listed_too(mark: Mark, ground: Ground) -> Mark:
    """The mark, with the row of the check list that it settles."""
    row = ground.row_of(mark.id)
    return mark if row is None else mark.model_copy(update={"name": str(row["name"]), "minutes": float(row["minutes"])})


def _walked_past(walk: Walk, ground: Ground, marked: set[str], plan: Plan) -> list[Mark]:
    """Marks on listed places that the tracks of a walk pass in sight, and that nobody has said anything of."""
    rows = ground.listed[~ground.listed["id"].astype(str).isin(marked | set(ground.known))]
    # A place where a note on runnability is asked for teaches nothing without the note.
    rows = rows[rows["kind"] != "notes"]
    if not walk.tracks or rows.empty:
        return []
    bare_earth, grid = rasters.read_heights(plan.out / "rasters" / "bare_earth.tif")
    density, _ = rasters.read_heights(plan.out / "rasters" / "understorey.tif")
    places = [Point(east, north) for east, north in zip(rows["east_m"], rows["north_m"], strict=True)]
    seen = passed(places, walk.tracks, bare_earth, density, grid)
    bases = [ground.base(str(name)) for name in rows["id"][seen]]
    return [base.model_copy(update={"status": "seen", "source": walk.source}) for base in bases if base]


def _write_answers(out: Path, kept: Kept) -> str:
    """Write the answers on how it runs, for `tussock calibrate`; the file below the output folder, "" without any."""
    rows = [
        f"{mark.geometry.x:.1f},{mark.geometry.y:.1f},{mark.symbol},{mark.name}"
        for mark in kept.marks
        if mark.is_place and mark.symbol in BAND_OF and isinstance(mark.geometry, Point) and mark.is_verdict
    ]
    if not rows:
        return ""
    write_text(out / ANSWERS, "\n".join(["east_m,north_m,symbol,name", *rows]) + "\n")
    return (Path(out.name) / ANSWERS).as_posix()
