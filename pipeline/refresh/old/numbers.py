"""Symbol numbers as people write them: 204, "204.0", 204000, a layer called "204 Boulder", or numbers of their own."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.norm.symbols import SymbolTable
from pipeline.refresh.old.old_map import GivenLayer

COLUMNS = (
    "symbol", "isom", "isomnumber", "isomcode", "isom20172", "isom2017", "number", "code", "symbolnumber", "symbolno",
    "symbolcode", "symbolid", "sym", "symno", "symnum", "nummer", "nr", "no", "objectcode", "layer", "block", "class",
    "type", "kind",
)  # fmt: skip
"""Names of columns in which maps hold symbol numbers, without spaces and marks and in small letters, the likeliest
first (common practice, no source)."""
MOST_TEXT = 80
"""Longest text that is taken for a number with words beside it, in characters (our choice)."""
COURSE = re.compile(r"602|7\d\d")
"""Numbers of the norm that are no part of the terrain: register marks and the course."""
_PLAIN = re.compile(r"(\d{3})(?:[.,](\d{1,3}))?")
_LONG = re.compile(r"(\d{3})(\d{3})")
_NAMED = re.compile(r"(?:[^\d]*[\s_\-:]|ISOM|L)?(\d{3})(?:[.,](\d{1,3}))?(?!\d)(?:[\s_\-:(].*)?", re.IGNORECASE)
NOT_A_SYMBOL = ""
"""What stands for a feature that has no number and is no symbol: it is kept and not compared."""


@dataclass(frozen=True)
class Numbered:
    """The numbers of one layer.

    Attributes
    ----------
    column : where they were found: name of a column, or "" for the name of the layer
    numbers : (n,) ISOM number, NOT_A_SYMBOL where there is none
    unknown : what is written where no ISOM number could be read -> how often
    beside_table : how many had a number that a mapper's table does not list, and were read as ISOM numbers
    """

    column: str
    numbers: NDArray[np.object_]
    unknown: Mapping[str, int]
    beside_table: int = 0

    @property
    def n_known(self) -> int:
        """How many features have a number."""
        return int((self.numbers != NOT_A_SYMBOL).sum())


def text_of(value: object, /) -> str:
    """A cell as text: whole numbers without a decimal point, nothing for a missing one."""
    if value is None or value is pd.NaT or (isinstance(value, float | np.floating) and not np.isfinite(value)):
        return ""
    if isinstance(value, float | np.floating) and float(value).is_integer():
        return str(int(value))
    return "" if value is pd.NA else str(value).strip()


def isom_number(text: str, symbols: SymbolTable, /) -> str | None:
    """The ISOM number that a text means, or None.

    It knows 204, 204.0, 204,1, 204000, 204001 (for 204.1), "204 Boulder", "ISOM 204", "204_fill" and names of the norm
    such as "Boulder".
    """
    if not text or len(text) > MOST_TEXT:
        return None
    plain, long = _PLAIN.fullmatch(text), _LONG.fullmatch(text)
    found = plain or long or _NAMED.fullmatch(text)
    if found is None:
        return _by_name(text, symbols)
    return _in_norm(found[1], found[2] or "", symbols)


def _in_norm(main: str, sub: str, symbols: SymbolTable) -> str | None:
    """A main number with what follows it, as the norm writes it; None where it has no such symbol."""
    if COURSE.fullmatch(main):
        return main
    tail = sub.lstrip("0")
    variants = [f"{main}.{each}" for each in (tail, tail.rstrip("0")) if each]
    exact = next((one for one in variants if one in symbols.rows), None)
    if exact:
        return exact
    if main in symbols.rows:
        return variants[0] if variants else main
    return f"{main}.1" if f"{main}.1" in symbols.rows else None


def _by_name(text: str, symbols: SymbolTable) -> str | None:
    wanted = text.casefold()
    return next((number for number, one in symbols.rows.items() if one.name.casefold() == wanted), None)


def numbers_of(layer: GivenLayer, own: Mapping[str, str], symbols: SymbolTable, /) -> Numbered:
    """The symbol numbers of a layer, from the column that holds most of them, or else from the layer's name.

    Parameters
    ----------
    own : the mapper's numbers as text -> ISOM numbers; empty without a table
    """
    columns = sorted(_columns(layer), key=lambda name: COLUMNS.index(_plain(name)))
    choices = [_read(layer, name, [text_of(value) for value in layer.table[name]], own, symbols) for name in columns]
    choices.append(_read(layer, "", [layer.name] * len(layer.table), own, symbols))
    best = max(choices, key=lambda one: one.n_known)  # the first of equals: the likeliest name
    if best.n_known or not columns:
        return best
    return choices[0]


def _columns(layer: GivenLayer) -> list[str]:
    names = [str(name) for name in layer.table.columns if name != layer.table.geometry.name]
    return [name for name in names if _plain(name) in COLUMNS]


def _plain(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", name.casefold())


def _read(
    layer: GivenLayer, column: str, texts: Sequence[str], own: Mapping[str, str], symbols: SymbolTable
) -> Numbered:
    by_text = {text: _number_of(text, own, symbols) for text in set(texts)}
    found = [by_text[text] for text in texts]
    is_word = layer.is_drawing or not column
    unknown = Counter(
        text
        for text, number in zip(texts, found, strict=True)
        if number is None and text and not (is_word and not re.search(r"\d{3}", text))
    )
    beside = sum(number is not None and text not in own for text, number in zip(texts, found, strict=True))
    numbers = np.array([number or NOT_A_SYMBOL for number in found], dtype=object)
    return Numbered(column, numbers, dict(unknown), beside if own else 0)


def _number_of(text: str, own: Mapping[str, str], symbols: SymbolTable) -> str | None:
    """The table goes first; a number that it does not list is read as one of ISOM."""
    return own[text] if text in own else isom_number(text, symbols)
