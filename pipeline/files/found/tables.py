"""Tables as spreadsheets save them: with commas, semicolons or tabs, decimal commas, and in several encodings."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pandas as pd

from pipeline.errors import InputError

ENCODINGS = ("utf-8-sig", "cp1252")
"""Tried one after the other: the first is told by what it forbids, the second is what offices of the West save."""
SEPARATORS = ",;\t|"


def read_table(path: Path, /) -> pd.DataFrame:
    """A table with all values as text, "" for none, and names of columns in small letters without blanks around.

    Raises
    ------
    InputError
        If the file cannot be read as a table.
    """
    try:
        text = _decoded(path.read_bytes())
        table = pd.read_csv(
            io.StringIO(text), sep=_separator(text), dtype=str, keep_default_na=False, skip_blank_lines=True
        )
    except (OSError, UnicodeDecodeError, ValueError) as error:
        raise InputError(f"{path}: cannot be read as a table ({error})") from error
    table.columns = pd.Index([str(column).strip().lower() for column in table.columns])
    return pd.DataFrame({name: table[name].str.strip() for name in table.columns})


def _decoded(content: bytes) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return content.decode("utf-16")
    for encoding in ENCODINGS[:-1]:
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    return content.decode(ENCODINGS[-1])


def _separator(text: str) -> str:
    """What stands between the columns: of the marks in the first line, the one that is there most."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    names = next(csv.reader([first]), [])
    if len(names) > 1 and not any(mark in first for mark in ";\t|"):
        return ","
    return max(SEPARATORS, key=first.count)


def numbers_of(column: pd.Series, /) -> pd.Series:
    """A column of texts as numbers, with a point or a comma before decimals; NaN where there is no number."""
    plain = column.astype("string").str.replace(r"[\s\u00a0\u202f']", "", regex=True)
    has_point = plain.str.contains(".", regex=False, na=False)
    plain = plain.where(has_point, plain.str.replace(",", ".", regex=False))
    return pd.to_numeric(plain, errors="coerce").astype(float)
