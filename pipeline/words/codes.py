"""Which languages the sheet can be in; apart from the texts, so that settings may name them and hold none."""

from __future__ import annotations

from typing import Literal, get_args

LanguageCode = Literal["en", "de", "sv", "fi", "cs", "fr"]
"""English, German, Swedish, Finnish, Czech and French, by their letters in ISO 639-1."""
SOURCE: LanguageCode = "en"
"""The language of the texts in the code."""
TRANSLATED: tuple[LanguageCode, ...] = tuple(code for code in get_args(LanguageCode) if code != SOURCE)
"""Languages that have a catalogue."""
