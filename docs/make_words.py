"""The catalogues of translated texts brought in step with the code: `make words` or `python -m docs.make_words`.

New texts come in without a translation, which a person then writes into `pipeline/words/po/`; texts that the code no
longer has go. Nothing is guessed from texts that look alike. A test fails while a text is missing or untranslated.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.pofile import read_po, write_po

from pipeline.norm.symbols import norm_table
from pipeline.shipped import CATALOGUES, PACKAGE, SYMBOLS
from pipeline.words.codes import TRANSLATED, LanguageCode
from pipeline.words.language import SYMBOL_CONTEXT

KEYWORDS: dict[str, tuple[int, ...] | None] = {"say": None, "say_counted": (1, 2)}
"""Methods of `Language` and which of their arguments are texts; None for the first alone."""
WIDTH = 118
"""Characters in a line of a catalogue."""


def template() -> Catalog:
    """All texts of the code and all names of symbols, in the order of files and of symbol numbers."""
    found = Catalog(project="Tussock", charset="utf-8")
    for path in sorted(PACKAGE.rglob("*.py")):
        with path.open("rb") as source:
            for _, message, comments, _ in extract("python", source, KEYWORDS, ("Translators:",)):
                _add(found, message, path.relative_to(PACKAGE.parent), comments)
    for number, symbol in norm_table().rows.items():
        found.add(symbol.name, context=SYMBOL_CONTEXT, auto_comments=[number], locations=[(f"config/{SYMBOLS.name}", 0)])
    return found


def _add(catalogue: Catalog, message: str | tuple[str, ...], path: Path, comments: Sequence[str]) -> None:
    catalogue.add(message, locations=[(path.as_posix(), 0)], auto_comments=comments)


def catalogue(code: LanguageCode, /) -> Catalog:
    """The catalogue of a language as it is kept; an empty one for a new language."""
    path = CATALOGUES / f"{code}.po"
    if not path.exists():
        return Catalog(locale=code, project="Tussock", charset="utf-8", fuzzy=False)
    with path.open("rb") as source:
        return read_po(source, locale=code)


def text_of(kept: Catalog, wanted: Catalog, /) -> str:
    """A kept catalogue with the texts that are wanted, and their translations where it has them, as text."""
    wanted.creation_date = kept.creation_date
    kept.update(wanted, no_fuzzy_matching=True, update_header_comment=False)
    written = io.BytesIO()
    write_po(written, kept, width=WIDTH, ignore_obsolete=True, include_lineno=False)
    return written.getvalue().decode("utf-8")


def main() -> None:
    """Write every catalogue."""
    for code in TRANSLATED:
        text = text_of(catalogue(code), template())
        (CATALOGUES / f"{code}.po").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
