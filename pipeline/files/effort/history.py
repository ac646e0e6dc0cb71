"""The table of maps that a club made before, with the hours they took."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline.errors import InputError
from pipeline.settings import load_area

AREA_COLUMNS = ("area", "outline", "area file", "area_file", "file")
DRAWING_COLUMNS = ("drawing_hours", "drawing hours", "drawing_h", "drawing")
SCALES = (15000, 10000, 7500, 5000)
YES, NO = ("yes", "true", "1"), ("no", "false", "0", "")
AREA_ENDINGS = (".yaml", ".yml")
WANTED = "a history has the columns 'area', 'hours' and 'scale', and where known 'drawing_hours' and 'draft'"
NEEDED_OF_A_DRAFT = ("draft.gpkg", "rasters/slope.tif", "work/outline.gpkg", "report/survey.json")
"""Files of a draft from which the ground of a past map is measured."""


@dataclass(frozen=True)
class PastMap:
    """One row of a history.

    Attributes
    ----------
    where : the table and the line in it, for messages
    file : the area file or the outline, whole path
    out : folder of the draft of an area file; None for an outline, which lies in the area that is being estimated
    hours, drawing_h : of fieldwork, above zero, and of drawing, NaN where not known
    scale : that it was mapped for
    had_draft : whether the mapper had a draft
    """

    where: str
    file: Path
    out: Path | None
    hours: float
    drawing_h: float
    scale: int
    had_draft: bool


def read_history(path: Path, /, *, own_out: Path) -> list[PastMap]:
    """The maps of a history, in the order of its lines.

    Parameters
    ----------
    own_out : folder of the area that is being estimated; its own draft need not be there yet

    Raises
    ------
    InputError
        If the table is missing or cannot be read, a column is missing, hours are no number above zero, a scale is none
        of the norm, or an area is not there or has no draft; names the line.
    """
    table = _table(path)
    area = next((name for name in AREA_COLUMNS if name in table.columns), None)
    missing = [name for name, there in (("area", area), ("hours", "hours"), ("scale", "scale")) if there not in table]
    if missing or area is None:
        raise InputError(f"{path}: has no column {' and no column '.join(map(repr, missing))}; {WANTED}")
    drawing = next((name for name in DRAWING_COLUMNS if name in table.columns), None)
    maps = []
    for line, row in enumerate(table.to_dict("records"), 2):
        where = f"{path}, line {line}"
        file, out = _file_and_draft(str(row[area]).strip(), path.parent, where, own_out)
        hours = _hours(row["hours"], where, "hours")
        drawing_h = _hours(row[drawing], where, drawing, may_be_empty=True) if drawing else math.nan
        maps.append(
            PastMap(where, file, out, hours, drawing_h, _scale(row["scale"], where), _yes(row.get("draft", ""), where))
        )
    return maps


def _table(path: Path) -> pd.DataFrame:
    """All cells as text, empty for none, with names of columns in small letters."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise InputError(f"{path}: there is no such history; correct 'effort.history:' or leave it out") from error
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read as a table in UTF-8 ({error})") from error
    first = text.partition("\n")[0]
    separator = max((",", ";", "\t"), key=first.count)
    try:
        table = pd.read_csv(path, sep=separator, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    except (ValueError, OSError) as error:
        raise InputError(f"{path}: cannot be read as a table ({error}); {WANTED}") from error
    table.columns = [str(name).strip().lower() for name in table.columns]
    return table[(table != "").any(axis=1)] if len(table.columns) else table


def _hours(value: object, where: str, column: str, *, may_be_empty: bool = False) -> float:
    text = str(value).strip()
    if may_be_empty and not text:
        return math.nan
    try:
        hours = float(text.replace(",", "."))
    except ValueError:
        hours = math.nan
    if not (math.isfinite(hours) and hours > 0):
        raise InputError(f"{where}: '{column}' should be a number of hours above 0 (you wrote '{text}')")
    return hours


def _scale(value: object, where: str) -> int:
    text = str(value).strip().replace(" ", "")
    number = text.rpartition(":")[2].replace(".", "")
    if not number.isdigit() or int(number) not in SCALES:
        allowed = ", ".join(map(str, SCALES))
        raise InputError(f"{where}: 'scale' should be one of {allowed} (you wrote '{text}')")
    return int(number)


def _yes(value: object, where: str) -> bool:
    text = str(value).strip().lower()
    if text not in (*YES, *NO):
        raise InputError(f"{where}: 'draft' should be yes or no (you wrote '{text}')")
    return text in YES


def _file_and_draft(text: str, beside: Path, where: str, own_out: Path) -> tuple[Path, Path | None]:
    """The file of a row, and the folder of its draft where it is an area file."""
    file = (beside / text).resolve()
    if text and file.is_dir():
        file = file / "area.yaml"
    if not text or not file.is_file():
        raise InputError(f"{where}: there is no area file or outline '{text}' (looked for {file})")
    if file.suffix.lower() not in AREA_ENDINGS:
        return file, None
    out = (file.parent / load_area(file).out).resolve()
    if out != own_out and not all((out / name).exists() for name in NEEDED_OF_A_DRAFT):
        raise InputError(f"{where}: {file} has no draft to measure its ground on; run 'tussock estimate {text}' first")
    return file, out
