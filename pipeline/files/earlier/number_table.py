"""A mapper's own numbers: a table that says which ISOM number each of them is."""

from __future__ import annotations

import csv
from pathlib import Path

from pipeline.errors import InputError
from pipeline.norm.symbols import SymbolTable
from pipeline.refresh.old.numbers import NOT_A_SYMBOL, isom_number

MOST_LISTED = 5
"""So many lines that do not fit are told (our choice)."""
LEFT_ASIDE = ("", "-")
"""What stands as ISOM number for what is kept without being compared."""


def read_number_table(path: Path, symbols: SymbolTable, /) -> dict[str, str]:
    """The mapper's numbers -> ISOM numbers; "" for what is kept without being compared.

    A CSV file of two columns, theirs first, separated by commas, semicolons or tabs; names of the columns may stand in
    its first line.

    Raises
    ------
    InputError
        If it cannot be read, has fewer than two columns, says two things of one number, or names numbers that ISOM does
        not have.
    """
    rows = _rows(path)
    found: dict[str, str] = {}
    wrong = []
    for line, (theirs, isom) in rows:
        number = NOT_A_SYMBOL if isom in LEFT_ASIDE else isom_number(isom, symbols)
        if number is None:
            if line == 1:  # names of the columns
                continue
            wrong.append(f"line {line}: '{isom}' is no number of ISOM 2017-2")
        elif found.setdefault(theirs, number) != number:
            wrong.append(f"line {line}: '{theirs}' is said to be {found[theirs]} above and {number} here")
    if wrong:
        more = f" (and {len(wrong) - MOST_LISTED} more)" if len(wrong) > MOST_LISTED else ""
        raise InputError(f"{path}: {'; '.join(wrong[:MOST_LISTED])}{more}. Correct the table")
    if not found:
        raise InputError(f"{path}: holds no number; write a line for each, such as '1004,204'")
    return found


def _rows(path: Path) -> list[tuple[int, tuple[str, str]]]:
    """Number of the line, their number, the ISOM number."""
    if not path.is_file():
        raise InputError(f"{path}: there is no such table; '--numbers' names a CSV file with your numbers and ISOM's")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read as a table; save it as CSV in UTF-8") from error
    first = text.splitlines()[0] if text.strip() else ""
    mark = max(";\t,", key=first.count)
    found = []
    for line, cells in enumerate(csv.reader(text.splitlines(), delimiter=mark), start=1):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) < 2:
            raise InputError(f"{path}, line {line}: one column only; write your number, a comma and the ISOM number")
        found.append((line, (cells[0].strip(), cells[1].strip())))
    return found
