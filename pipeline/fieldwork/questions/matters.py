"""How much a symbol matters to a runner, and how long a look at one takes: `config/looks.csv`."""

from __future__ import annotations

import csv
import functools
import io
from dataclasses import dataclass

from pipeline.errors import SettingsError
from pipeline.shipped import LOOKS

COLUMNS = ("symbols", "matters", "minutes", "reason")


@dataclass(frozen=True)
class Look:
    """What a look at a symbol is worth and what it takes.

    Attributes
    ----------
    matters : how much a runner suffers when it is missing or wrong, a single boulder being 1
    minutes : that a mapper stands or walks around there
    reason : why it matters that much
    """

    matters: float
    minutes: float
    reason: str


@functools.cache
def looks() -> dict[str, Look]:
    """The look that each symbol number takes; the figures are common practice, no source.

    Raises
    ------
    SettingsError
        If the table was edited into something that cannot be read.
    """
    try:
        return looks_of(LOOKS.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, SettingsError) as error:
        raise SettingsError(f"{LOOKS}: cannot be read as the table of looks: {error}") from error


def looks_of(text: str, /) -> dict[str, Look]:
    """The same of the text of the table: one row for several symbols, their numbers with blanks between.

    Raises
    ------
    SettingsError
        Naming the line that cannot be read, or the symbol that stands there twice.
    """
    reader = csv.DictReader(io.StringIO(text))
    if tuple(reader.fieldnames or ()) != COLUMNS:
        raise SettingsError(f"the columns must be {', '.join(COLUMNS)}")
    found: dict[str, Look] = {}
    for row in reader:
        for number in row["symbols"].split():
            if number in found:
                raise SettingsError(f"line {reader.line_num}: symbol {number} stands there twice")
            found[number] = _look(row, line=reader.line_num)
    return found


def _look(row: dict[str, str], *, line: int) -> Look:
    try:
        look = Look(float(row["matters"]), float(row["minutes"]), row["reason"])
    except (TypeError, ValueError) as error:
        raise SettingsError(f"line {line}: {error}") from error
    if not (0 <= look.matters < 100 and 0 <= look.minutes < 100):
        raise SettingsError(f"line {line}: both figures must lie between 0 and 100")
    return look
