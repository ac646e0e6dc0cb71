"""Texts, numbers and dates in each language, against what is usual there."""

from __future__ import annotations

import datetime

import pytest

from pipeline.words.codes import LanguageCode
from pipeline.words.language import UNBROKEN, Language

DAY = datetime.date(2027, 4, 9)


@pytest.mark.parametrize(
    ("code", "written"),
    [
        ("en", "9 Apr 2027"),
        ("de", "09.04.2027"),
        ("sv", "9 apr. 2027"),
        ("fi", "9.4.2027"),
        ("cs", "9. 4. 2027"),
        ("fr", "9 avr. 2027"),
    ],
)
def test_a_day_is_written_in_the_order_of_the_language(code: LanguageCode, written: str) -> None:
    """Day, month, year in all six; and no line breaks within a date."""
    assert Language(code).day(DAY) == written.replace(" ", UNBROKEN)


@pytest.mark.parametrize(
    ("code", "mark"), [("en", "."), ("de", ","), ("sv", ","), ("fi", ","), ("cs", ","), ("fr", ",")]
)
def test_the_decimal_mark_is_that_of_the_language(code: LanguageCode, mark: str) -> None:
    """A point in English, a comma in the others; thousands are parted by a space everywhere."""
    language = Language(code)
    assert language.number(2.5) == f"2{mark}5"
    assert language.number(5.0) == "5"
    assert language.number(3.14159, decimals=2) == f"3{mark}14"
    assert language.number(1234567.5) == f"1 234 567{mark}5".replace(" ", UNBROKEN)
    assert language.number(7.6, decimals=0) == "8"


@pytest.mark.parametrize("code", ["en", "de", "sv", "fi", "cs", "fr"])
def test_scales_are_written_alike(code: LanguageCode) -> None:
    """1:15 000 is read by everybody, and found by whoever searches for it."""
    assert Language(code).scale(15000) == f"1:15{UNBROKEN}000"


@pytest.mark.parametrize(
    ("code", "forms"),
    [
        ("en", ("1 sheet", "3 sheets", "5 sheets")),
        ("de", ("1 Blatt", "3 Blätter", "5 Blätter")),
        ("cs", ("1 list", "3 listy", "5 listů")),
        ("fr", ("1 feuille", "3 feuilles", "5 feuilles")),
    ],
)
def test_plurals_have_the_forms_of_the_language(code: LanguageCode, forms: tuple[str, ...]) -> None:
    """Czech has one form for two to four and another from five on."""
    language = Language(code)
    assert tuple(language.say_counted("{n} sheet", "{n} sheets", n) for n in (1, 3, 5)) == forms


def test_a_text_without_translation_is_english() -> None:
    """Better a sentence in English than none."""
    assert Language("fi").say("Nobody ever wrote {what}.", what="this") == "Nobody ever wrote this."


def test_a_value_that_is_not_given_is_an_error() -> None:
    """No sheet prints a brace."""
    with pytest.raises(KeyError, match="what"):
        Language("de").say("Nobody ever wrote {what}.")


def test_a_symbol_has_the_name_that_its_language_gives_it() -> None:
    """The context keeps symbols apart from other words; English has the norm's own name."""
    assert Language("sv").symbol("Marsh") == "Sankmark"
    assert Language("en").symbol("Marsh") == "Marsh"
