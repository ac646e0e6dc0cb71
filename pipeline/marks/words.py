"""What a mapper writes in the forest: the name of a listed place, a word of what was found, a symbol."""

from __future__ import annotations

import functools
import re
from collections.abc import Collection
from dataclasses import dataclass

from pipeline.marks.mark import Status
from pipeline.norm.symbols import norm_table

WORDS: dict[Status, tuple[str, ...]] = {
    "confirmed": (
        *("ok", "okay", "yes", "y", "yep", "there", "right", "correct", "true", "confirm", "confirmed", "+", "✓"),
        *("ja", "stimmt", "finns", "jo", "kyllä", "ano", "oui"),
    ),
    "rejected": (
        *("no", "n", "not", "none", "nothing", "gone", "wrong", "false", "reject", "rejected", "deleted", "-", "x"),
        *("nein", "nicht", "nej", "inte", "ei", "ne", "není", "non", "absent"),
    ),
    "moved": ("moved", "move", "shifted", "verschoben", "flyttad", "siirretty", "posunuto", "déplacé"),
    "new": ("new", "add", "added", "neu", "ny", "uusi", "nový", "nouveau"),
    "seen": ("seen", "other", "unsure", "?"),
}
"""First words of what was found, in the six languages of the sheet."""
_STATUS_OF = {word: status for status, words in WORDS.items() for word in words}
_NUMBER = re.compile(r"(?<![\w.])([1-7]\d{2}(?:\.\d)?)(?!\d)")  # of a symbol of the norm
_WORD = re.compile(r"[^\s,;:!()]+")


@dataclass(frozen=True)
class Said:
    """What a text says.

    Attributes
    ----------
    name : of a listed place; "" where the text names none
    status : what was found; None where no known word says it
    symbol : number of the norm; "" where none is named
    note : what stands there beside name and word
    """

    name: str = ""
    status: Status | None = None
    symbol: str = ""
    note: str = ""


def said_in(text: str, /, names: Collection[str] = ()) -> Said:
    """What a text such as "017 ok", "017 206 no boulder but a pillar" or "new boulder" says.

    Parameters
    ----------
    names : of the places on the check list; "17" means the place "017"
    """
    words = _WORD.findall(text)
    name = _name_in(words[0], names) if words else ""
    rest = words[1:] if name else words
    status, place = _first_status(rest)
    note = " ".join(rest[:place] + rest[place + 1 :]) if status else " ".join(rest)
    return Said(name, status, symbol_in(note), note)


def _first_status(words: list[str]) -> tuple[Status | None, int]:
    """The status that the first or second word means, and which of the two says it."""
    for place, word in enumerate(words[:2]):
        if found := _STATUS_OF.get(word.lower().rstrip(".")):
            return found, place
    return None, 0


def _name_in(word: str, names: Collection[str]) -> str:
    """The name of the listed place that a word is, "" for none."""
    if word in names:
        return word
    plain = word.lower().lstrip("0")
    alike = [name for name in names if plain[:1].isdigit() and name.lower().lstrip("0") == plain]
    return alike[0] if len(alike) == 1 else ""


def symbol_in(text: str, /) -> str:
    """The number of the symbol that a text names by number, or by the norm's name of it; "" for none."""
    for number in _NUMBER.findall(text):
        if number in norm_table():
            return str(number)
    plain = " ".join(_WORD.findall(text.lower()))
    return next((number for name, number in _names() if re.search(rf"\b{re.escape(name)}(s|es)?\b", plain)), "")


@functools.cache
def _names() -> list[tuple[str, str]]:
    """Names of the norm in small letters and their numbers, long names first, so that "boulder field" is no boulder.

    Of a name with an "or" or a comma its parts count as well, where no other symbol has that name.
    """
    found: dict[str, str] = {}
    for number, symbol in norm_table().rows.items():
        if symbol.section != "technical" and "." not in number:
            found.setdefault(symbol.name.lower(), number)
    for number, symbol in norm_table().rows.items():
        for part in re.split(r",| or ", symbol.name.lower()):
            if symbol.section != "technical" and len(part.strip()) > 3:
                found.setdefault(part.strip(), number)
    return sorted(found.items(), key=lambda item: -len(item[0]))
