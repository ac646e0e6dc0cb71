"""A language for the sheet: texts from catalogues, and numbers and dates as they are written in it.

The code holds the texts in English. For each other language there is a catalogue in gettext's text form
(`pipeline/words/po/`), which `make words` brings in step with the code and people fill in. It is compiled in memory
when first asked for, so no compiled file can be out of date. Plurals, decimal marks and the order of dates come from
Babel, which holds the tables of the Unicode CLDR.

The names of the symbols are in the catalogues too, each with the context "ISOM". The norm is published in English; the
names in the other languages are common practice, no source, as each catalogue's head says.
"""

from __future__ import annotations

import datetime
import functools
import gettext
import io
from dataclasses import dataclass

from pipeline.shipped import CATALOGUES
from pipeline.words.codes import SOURCE, LanguageCode

LOCALES = {"en": "en_GB"}
"""The variety of a language whose dates and numbers are taken, where it is not the language at large: in British
English the day stands before the month."""
SYMBOL_CONTEXT = "ISOM"
"""Context of the names of symbols in the catalogues: "Forest" is translated as the legend calls it."""
UNBROKEN = "\N{NO-BREAK SPACE}"
"""Stands where a line must not break, as in 1:10 000; the sheet prints it as a space."""


def phrase(message: str, /) -> str:
    """The text itself: marks one that stands apart from the call of `say` that translates it, for `make words`."""
    return message


@dataclass(frozen=True)
class Language:
    """Texts, numbers and dates in one language.

    Attributes
    ----------
    code : str
        Two letters of ISO 639-1.
    """

    code: LanguageCode = SOURCE

    def say(self, message: str, /, **values: object) -> str:
        """A text in this language.

        Parameters
        ----------
        message : the text in English, written out where this is called, or where it is marked as a `phrase`: there
            `make words` finds it
        values : what stands for the names in braces, already in words; see `number` and `day`

        Raises
        ------
        KeyError
            If a name in braces has no value.
        """
        return _catalogue(self.code).gettext(message).format(**values)

    def say_counted(self, one: str, many: str, number: int, /, **values: object) -> str:
        """A text that depends on a number of things; `{n}` in it is the number.

        Parameters
        ----------
        one, many : the text in English for one thing and for several; a language may have more forms than two
        """
        form = _catalogue(self.code).ngettext(one, many, number)
        return form.format(n=self.number(number), **values)

    def symbol(self, name: str, /) -> str:
        """The name of a symbol of the norm, or of one of ours, in this language.

        Parameters
        ----------
        name : the English name, as `config/symbols.csv` has it
        """
        return _catalogue(self.code).pgettext(SYMBOL_CONTEXT, name)

    def number(self, value: float, /, *, decimals: int | None = None) -> str:
        """A number with this language's decimal mark and a space between thousands.

        Thousands are parted by spaces in every language, as on printed maps and in ISO 80000-1, 7.3.1 (from memory): a
        comma or point there is a decimal mark elsewhere.

        Parameters
        ----------
        decimals : digits after the mark; None for as many as the number has, at most 3
        """
        from babel.numbers import format_decimal, get_group_symbol  # most steps write nothing in any language

        after = ".###" if decimals is None else f".{'0' * decimals}" if decimals else ""
        written = format_decimal(value, f"#,##0{after}", self._locale)
        return written.replace(get_group_symbol(self._locale), UNBROKEN)

    def day(self, date: datetime.date, /) -> str:
        """A date as this language writes it, the month in letters or, where that is usual, in figures."""
        from babel.dates import format_date

        return format_date(date, "medium", self._locale).replace(" ", UNBROKEN)

    def scale(self, number: float, /) -> str:
        """A scale such as 1:10 000, alike in all languages."""
        return f"1:{self.number(round(number))}"

    @property
    def _locale(self) -> str:
        return LOCALES.get(self.code, self.code)


@functools.cache
def _catalogue(code: LanguageCode) -> gettext.NullTranslations:
    """The translations into a language; of English the texts themselves."""
    if code == SOURCE:
        return gettext.NullTranslations()
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po

    with (CATALOGUES / f"{code}.po").open("rb") as source:
        catalogue = read_po(source, locale=code)
    compiled = io.BytesIO()
    write_mo(compiled, catalogue)
    compiled.seek(0)
    return gettext.GNUTranslations(compiled)
