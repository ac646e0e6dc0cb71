"""What a refresh writes, each file kept by its content as it was before, so that a step can be undone."""

from __future__ import annotations

import csv
import hashlib
import io
import shutil
import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path

import geopandas as gpd
import pyogrio
from pydantic import BaseModel, ConfigDict, ValidationError

from pipeline.errors import InputError
from pipeline.files.disk.atomic import replacing, write_text
from pipeline.files.disk.layer_kinds import FIXED_DATE, geometry_type

MAP, LOG, STORE = "refreshed.gpkg", "refresh_log.csv", Path("refresh")
"""The refreshed map, the log of refreshes, and the folder of earlier files; below the output folder."""
LATER = STORE / "yours.json"
"""Names of features of which the refreshed map has the last word, since a mapper changed them there."""
GAVE_WAY = STORE / "gave_way.csv"
"""Features of the new draft that are not in the refreshed map, and why."""
SHEET, PAGE = str(Path("sheets") / "changes_sheet.pdf"), str(Path("report") / "changes.html")
STYLED = str(Path("exports") / "refreshed_styled.gpkg")
"""What a refresh shows: a sheet, a page, and its map with symbols; below the output folder."""
SHOWN = (SHEET, PAGE, STYLED)
FILES = (MAP, str(LATER), "changes.gpkg", "refresh.json", str(Path("fieldwork") / "changes_list.csv"), *SHOWN)
"""What a refresh writes and `--undo` restores."""
REFRESH, UNDO = "refresh", "undo"


class Step(BaseModel):
    """A line of the log.

    Attributes
    ----------
    step : number, from 1
    at : when, ISO 8601
    what : REFRESH or UNDO
    old : the earlier map, as the user named it
    old_sha256 : of its file
    kept, new, carried, left_out : numbers of features
    undoes : number of the step that an undo takes back; 0 of a refresh
    before, after : file and SHA-256 of its content, as `refreshed.gpkg=1a2b...`, with a blank between two; a file that
        was not there is left out
    """

    model_config = ConfigDict(frozen=True, extra="ignore")

    step: int
    at: str
    what: str
    old: str
    old_sha256: str
    kept: int
    new: int
    carried: int
    left_out: int
    undoes: int
    before: str
    after: str


def write_map(path: Path, layers: Mapping[str, gpd.GeoDataFrame], /) -> None:
    """Write a refreshed map. A layer takes any geometry where a mapper's is of several parts; heights stay."""
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_DATE})
    with replacing(path) as part, warnings.catch_warnings():
        # GDAL says that a layer has heights, which is meant: a mapper's geometry is written as it is.
        warnings.filterwarnings("ignore", "Layer .* has been declared with non-Z geometry type", RuntimeWarning)
        for name, layer in layers.items():
            kind = geometry_type(name, layer)
            own = set(layer.geom_type.dropna())
            pyogrio.write_dataframe(
                layer, part, layer=name, driver="GPKG", append=part.exists(), promote_to_multi=False,
                geometry_type=kind if own <= {kind} else "Unknown",
            )  # fmt: skip


def keep_by_content(out: Path, /) -> str:
    """Keep a copy of each file of a refresh as it is; what `Step.before` and `Step.after` say of it."""
    told = []
    for name in FILES:
        path = out / name
        if path.exists():
            with path.open("rb") as file:
                mark = hashlib.file_digest(file, "sha256").hexdigest()
            target = out / STORE / f"{mark}{path.suffix}"
            if not target.exists():
                target.parent.mkdir(parents=True, exist_ok=True)
                with replacing(target) as part:
                    shutil.copyfile(path, part)
            told.append(f"{name}={mark}")
    return " ".join(told)


def files_of(told: str, /) -> dict[str, str]:
    """File -> checksum, from what a step says."""
    return dict(pair.split("=", 1) for pair in told.split()) if told else {}


def restore(out: Path, told: str, /) -> None:
    """Make the files of a refresh what they were; one that was not there goes.

    Raises
    ------
    InputError
        If a copy is missing. Nothing is changed then.
    """
    wanted = files_of(told)
    copies = {name: out / STORE / f"{mark}{Path(name).suffix}" for name, mark in wanted.items()}
    missing = [str(path) for path in copies.values() if not path.exists()]
    if missing:
        raise InputError(f"{out / STORE}: the copy {missing[0]} is gone; without it the step cannot be undone")
    for name in FILES:
        if name in copies:
            with replacing(out / name) as part:
                shutil.copyfile(copies[name], part)
        else:
            (out / name).unlink(missing_ok=True)


def read_log(out: Path, /) -> list[Step]:
    """The steps of the log, the first one first; none without a log.

    Raises
    ------
    InputError
        If it cannot be read as the log.
    """
    path = out / LOG
    if not path.exists():
        return []
    try:
        rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
        return [Step.model_validate(row) for row in rows]
    except (OSError, UnicodeDecodeError, ValidationError) as error:
        raise InputError(f"{path}: cannot be read as the log of refreshes; restore it from a copy") from error


def write_log(out: Path, steps: Sequence[Step], /) -> None:
    """Write the whole log."""
    text = io.StringIO()
    writer = csv.DictWriter(text, list(Step.model_fields), lineterminator="\n")
    writer.writeheader()
    writer.writerows(step.model_dump() for step in steps)
    write_text(out / LOG, text.getvalue())


def last_to_undo(steps: Sequence[Step], /) -> Step | None:
    """The last refresh that was not taken back."""
    undone = {step.undoes for step in steps if step.what == UNDO}
    left = [step for step in steps if step.what == REFRESH and step.step not in undone]
    return left[-1] if left else None


def written_copy(path: Path, /) -> Path | None:
    """A copy of a refreshed map as the last step left it; None where no copy is at hand."""
    steps = read_log(path.parent)
    if not steps:
        return None
    mark = files_of(steps[-1].after).get(path.name)
    copy = path.parent / STORE / f"{mark}{path.suffix}"
    return copy if mark and copy.exists() else None
