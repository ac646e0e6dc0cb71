"""The table of what becomes which symbol: `config/borrowed.csv`, and a mapper's own beside it.

A row says: features of this `kind` (point, line, area) for which all of `where` holds become `symbol`. The first row
that fits counts. `where` is a list of conditions with spaces between: `highway` (has the tag), `highway=track|path`
(one of these values), `width>=2.5` (a number at least, likewise `<`). The symbol is an ISOM number; `-` where the
feature is left out on purpose; `=symbol` where the feature says its number itself, in a column of that name.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.errors import SettingsError
from pipeline.norm.symbols import SymbolTable

COLUMNS = ("kind", "where", "symbol")
"""Columns that a table must have; it may have others, such as remarks."""
NEVER = "-"
"""Written as the symbol of what is left out on purpose."""
OWN_NUMBER = "="
"""What the symbol begins with that names a column of the feature in which its number stands."""

Tags = Mapping[str, str]
"""What a feature says of itself: names of columns or tags, and their values as text."""
_CONDITION = re.compile(r"(?P<key>[^\s=<>]+?)(?:(?P<sign>=|>=|<)(?P<value>\S+))?")
_NUMBER = re.compile(r"-?\d+(?:[.,]\d+)?")


@dataclass(frozen=True)
class Condition:
    """One thing that must hold of a feature: `sign` is =, >= or <, or empty where the tag need only be there."""

    key: str
    sign: str
    values: frozenset[str]
    limit: float

    def holds(self, tags: Tags, /) -> bool:
        """Whether it holds; a tag that is missing, or no number where one is asked for, never fits."""
        value = tags.get(self.key, "")
        if not value or self.sign == "":
            return bool(value)
        if self.sign == "=":
            return value in self.values
        number = _NUMBER.match(value)
        if not number:
            return False
        found = float(number.group().replace(",", "."))
        return found >= self.limit if self.sign == ">=" else found < self.limit


@dataclass(frozen=True)
class Row:
    """One row: what it asks for, and the symbol."""

    kind: str
    conditions: tuple[Condition, ...]
    symbol: str


def table_rows(text: str, symbols: SymbolTable, /) -> tuple[Row, ...]:
    """The rows of a table's text.

    Raises
    ------
    SettingsError
        Naming the line and what does not fit: a missing column, a kind, a condition or a symbol that there is not, or a
        symbol that the norm does not draw as that kind.
    """
    reader = csv.DictReader(io.StringIO(text))
    missing = [name for name in COLUMNS if name not in (reader.fieldnames or ())]
    if missing:
        raise SettingsError(f"has no column {', '.join(missing)}; its first line is to be kind,where,symbol,remark")
    rows = []
    for row in reader:
        kind, where, symbol = ((row[name] or "").strip() for name in COLUMNS)
        try:
            rows.append(Row(kind, tuple(_condition(word) for word in where.split()), _checked(symbol, kind, symbols)))
        except ValueError as error:
            raise SettingsError(f"line {reader.line_num}: {error}") from error
    return tuple(rows)


def _condition(word: str) -> Condition:
    found = _CONDITION.fullmatch(word)
    if not found:
        raise ValueError(f"'{word}' is no condition; write tag, tag=value, tag=value|value, tag>=number or tag<number")
    key, sign, value = found["key"], found["sign"] or "", found["value"] or ""
    if sign in (">=", "<"):
        if not _NUMBER.fullmatch(value):
            raise ValueError(f"'{word}' compares with '{value}', which is no number")
        return Condition(key, sign, frozenset(), float(value.replace(",", ".")))
    return Condition(key, "=" if sign else "", frozenset(value.split("|")), 0.0)


def _checked(symbol: str, kind: str, symbols: SymbolTable) -> str:
    if kind not in ("point", "line", "area"):
        raise ValueError(f"kind is '{kind}'; it can be point, line or area")
    if symbol == NEVER or symbol.startswith(OWN_NUMBER):
        return symbol
    if symbol not in symbols:
        raise ValueError(f"'{symbol}' is no number of the norm (ISOM 2017-2), nor '{NEVER}' for what is left out")
    drawn = symbols[symbol].kinds
    if kind not in drawn and not (kind == "line" and drawn == ("area",)):
        raise ValueError(f"the norm draws {symbol} as {' or '.join(drawn)}, not as {kind}")
    return symbol


def keys_of(rows: tuple[Row, ...], /) -> tuple[str, ...]:
    """All tags that a table asks for, each once, in alphabetical order."""
    own = {row.symbol.removeprefix(OWN_NUMBER) for row in rows if row.symbol.startswith(OWN_NUMBER)}
    return tuple(sorted(own | {condition.key for row in rows for condition in row.conditions}))


def symbol_of(kind: str, tags: Tags, rows: tuple[Row, ...], symbols: SymbolTable, /) -> str | None:
    """The symbol a feature becomes, `NEVER` where it is left out on purpose, None where no row fits."""
    for row in rows:
        if row.kind == kind and all(condition.holds(tags) for condition in row.conditions):
            if not row.symbol.startswith(OWN_NUMBER):
                return row.symbol
            number = tags.get(row.symbol.removeprefix(OWN_NUMBER), "")
            if number in symbols and kind in symbols[number].kinds:
                return number
    return None


def said(tags: Tags, /) -> str:
    """The tags in words, for the evidence."""
    return ", ".join(f"{key} {value}" for key, value in sorted(tags.items()) if value and key != "layer")
