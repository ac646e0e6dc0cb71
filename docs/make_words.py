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

OWN_NUMBERS = ("600", "600.1")
"""Numbers in the table of symbols that are ours and not the norm's."""
KEYWORDS: dict[str, tuple[int, ...] | None] = {"phrase": None, "say": None, "say_counted": (1, 2)}
"""Calls that hold texts, and which of their arguments these are; None for the first alone."""
WIDTH = 118
"""Characters in a line of a catalogue."""
HEAD = """\
# {language}: what is printed on the sheet.
#
# `make words` brings the texts in step with the code; write the translations into the lines 'msgstr' here. What stands
# in braces is a value and stays as it is; a no-break space keeps a number and its unit on one line.
#
# The norm is published in English. The names of its symbols here, those with the context "ISOM", are what mappers call
# them: common practice, no source, written from memory and not compared with a national edition of the norm."""
KEPT_HEADERS = ("Language", "Plural-Forms", "MIME-Version", "Content-Type", "Content-Transfer-Encoding")
"""What the head of a catalogue says to programs. Days, names of people and versions of tools would only change."""


def template() -> Catalog:
    """All texts of the code and all names of symbols, in the order of files and of symbol numbers."""
    found = Catalog(charset="utf-8")
    for path in sorted(PACKAGE.rglob("*.py")):
        source = path.read_bytes()
        if any(f"{call}(".encode() in source for call in KEYWORDS):  # reading a file word by word takes long
            for _, message, comments, _ in extract("python", io.BytesIO(source), KEYWORDS, ("Translators:",)):
                _add(found, message, path.relative_to(PACKAGE.parent), comments)
    for number, symbol in norm_table().rows.items():
        source = "ours, not the norm's" if number in OWN_NUMBERS else "common practice, no source"
        found.add(
            symbol.name,
            context=SYMBOL_CONTEXT,
            auto_comments=[f"{number}: {source}"],
            locations=[(f"config/{SYMBOLS.name}", 0)],
        )
    return found


def _add(catalogue: Catalog, message: str | tuple[str, ...], path: Path, comments: Sequence[str]) -> None:
    catalogue.add(message, locations=[(path.as_posix(), 0)], auto_comments=comments)


def catalogue(code: LanguageCode, /) -> Catalog:
    """The catalogue of a language as it is kept; an empty one for a new language."""
    path = CATALOGUES / f"{code}.po"
    if not path.exists():
        return Catalog(locale=code, charset="utf-8", fuzzy=False)
    with path.open("rb") as source:
        return read_po(source, locale=code)


def text_of(kept: Catalog, wanted: Catalog, /) -> str:
    """A kept catalogue with the texts that are wanted, and their translations where it has them, as text."""
    kept.update(wanted, no_fuzzy_matching=True, update_header_comment=False)
    written = io.BytesIO()
    write_po(written, kept, width=WIDTH, ignore_obsolete=True, include_lineno=False, omit_header=True)
    headers = "".join(f'"{name}: {value}\\n"\n' for name, value in kept.mime_headers if name in KEPT_HEADERS)
    head = HEAD.format(language=kept.locale.english_name if kept.locale else "Unknown language")
    return f'{head}\nmsgid ""\nmsgstr ""\n{headers}\n' + written.getvalue().decode("utf-8")


def main() -> None:
    """Write every catalogue."""
    for code in TRANSLATED:
        text = text_of(catalogue(code), template())
        (CATALOGUES / f"{code}.po").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
