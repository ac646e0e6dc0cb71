"""Letters of the sheet: which typeface has each, how wide a line is, where it breaks.

All text is set in subsets of Noto (`docs/make_fonts.py`): Latin, Greek and Cyrillic in plain and bold, and kana, Korean
syllables and the common Chinese and Japanese characters in one weight. One design for all languages, because a Czech
legend would otherwise change its typeface from line to line, wherever a letter is missing from one made for Western
Europe. The PDF holds the letters it uses, so it prints alike everywhere; the character collections that PDF readers may
have of their own (Adobe-GB1, Adobe-Japan1) would print only where they are installed.
"""

from __future__ import annotations

import functools
import itertools
import re
import unicodedata
from typing import NamedTuple

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from pipeline.shipped import TYPEFACES
from pipeline.words.language import UNBROKEN

POINTS_PER_MM = 72 / 25.4
"""The PDF's unit is 1/72 inch (ISO 32000-1, 8.3.2.3)."""
PLAIN, BOLD = "NotoSans-Regular", "NotoSans-Bold"
CHARACTERS = "NotoSansCJK-Common"
"""The typeface of characters, kana and Korean syllables; there is no bold one."""


class Run(NamedTuple):
    """Letters side by side in one typeface."""

    face: str
    letters: str


@functools.cache
def typeface(face: str, /) -> str:
    """The name of a typeface, after making it known to the PDF library; it is embedded in the file."""
    pdfmetrics.registerFont(TTFont(face, str(TYPEFACES / f"{face}.ttf")))
    return face


def _has(face: str, letter: str) -> bool:
    return ord(letter) in pdfmetrics.getFont(typeface(face)).face.charToGlyph


def runs(words: str, /, *, face: str = PLAIN) -> list[Run]:
    """The text in stretches of one typeface each.

    Letters that no typeface has become their base letters, or question marks. A no-break space is set as a space, so
    that whoever searches the PDF for "1:10 000" finds it.
    """
    letters = [
        _run_of(letter, (face, CHARACTERS)) for letter in unicodedata.normalize("NFC", words).replace(UNBROKEN, " ")
    ]
    return [
        Run(of, "".join(run.letters for run in same)) for of, same in itertools.groupby(letters, lambda run: run.face)
    ]


@functools.cache
def _run_of(letter: str, faces: tuple[str, ...]) -> Run:
    for face in faces:
        if _has(face, letter):
            return Run(face, letter)
    base = "".join(part for part in unicodedata.normalize("NFKD", letter) if _has(faces[0], part))
    return Run(faces[0], base or "?")


class _Widths(dict[str, float]):
    """Letter -> its width in thousandths of the size of a typeface, or of the one that stands in for it."""

    def __init__(self, face: str) -> None:
        self._face = face

    def __missing__(self, letter: str) -> float:
        self[letter] = sum(pdfmetrics.stringWidth(run.letters, run.face, 1000) for run in runs(letter, face=self._face))
        return self[letter]


_widths = functools.cache(_Widths)


def text_width_mm(words: str, /, *, size_pt: float, face: str = PLAIN) -> float:
    """Width of a line of text."""
    # A list of places to look at is broken into lines letter by letter: a million times a look into a table.
    letters = unicodedata.normalize("NFC", words)
    return sum(map(_widths(face).__getitem__, letters)) * size_pt / 1000 / POINTS_PER_MM


_CHARACTERS = r"\u3040-\u30ff\u3400-\u9fff\uf900-\ufaff"
# A word with the spaces before it; Chinese and Japanese lines may break after any character (kana included), no line at
# a no-break space.
_PIECE = re.compile(rf"[^\S{UNBROKEN}]*(?:[{_CHARACTERS}]|(?:[^\s{_CHARACTERS}]|{UNBROKEN})+)")


def wrapped(words: str, /, *, width_mm: float, size_pt: float, face: str = PLAIN) -> list[str]:
    """Text broken into lines no wider than `width_mm`, but for single words that are wider."""
    lines = [""]
    for piece in _PIECE.findall(words):
        longer = lines[-1] + piece if lines[-1] else piece.lstrip()
        if lines[-1] and text_width_mm(longer, size_pt=size_pt, face=face) > width_mm:
            lines.append(piece.lstrip())
        else:
            lines[-1] = longer
    return lines
