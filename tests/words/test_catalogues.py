"""The catalogues hold every text of the code, translated, with the values in it that the code gives."""

from __future__ import annotations

from collections.abc import Iterator
from string import Formatter

import pytest
from babel.messages.catalog import Catalog, Message

from docs.make_words import catalogue, template, text_of
from pipeline.norm.symbols import norm_table
from pipeline.shipped import CATALOGUES
from pipeline.words.codes import TRANSLATED, LanguageCode


def faults(kept: Catalog, wanted: Catalog, /) -> list[str]:
    """What is wrong with a catalogue: texts missing, superfluous, untranslated, doubtful or with other values."""
    keys = {_key(message) for message in wanted if message.id}
    found = [f"missing: {key}" for key in sorted(keys - {_key(message) for message in kept}, key=str)]
    for message in (message for message in kept if message.id):
        if _key(message) not in keys:
            found.append(f"not in the code: {_key(message)}")
        if message.fuzzy:
            found.append(f"marked as doubtful: {_key(message)}")
        found += [f"{problem}: {_key(message)}" for problem in _problems(message, kept.num_plurals)]
    return found


def _key(message: Message) -> tuple[str | None, str | tuple[str, ...]]:
    return message.context, tuple(message.id) if message.pluralizable else message.id


def _problems(message: Message, n_forms: int) -> Iterator[str]:
    forms = message.string if message.pluralizable else (message.string,)
    if len(forms) != (n_forms if message.pluralizable else 1) or not all(forms):
        yield "not translated"
        return
    wanted = _values(message.id[-1] if message.pluralizable else message.id)
    if any(_values(form) != wanted for form in forms):
        yield "other values"
    if any(form != form.strip() for form in forms):
        yield "space at an end"


def _values(text: str) -> list[str]:
    """Names in braces, sorted; the order may differ between languages."""
    return sorted(name for _, name, _, _ in Formatter().parse(text) if name is not None)


@pytest.mark.parametrize("code", TRANSLATED)
def test_every_text_is_translated(code: LanguageCode) -> None:
    """All of the code and all names of symbols, nothing doubtful, each with its values."""
    assert faults(catalogue(code), template()) == []


@pytest.mark.parametrize("code", TRANSLATED)
def test_the_catalogue_is_as_the_command_writes_it(code: LanguageCode) -> None:
    """`make words` would change nothing."""
    kept = (CATALOGUES / f"{code}.po").read_text(encoding="utf-8")
    assert text_of(catalogue(code), template()) == kept, "run: make words"


def test_there_is_no_catalogue_but_those_of_the_languages() -> None:
    """A file that no setting reaches would grow stale."""
    assert {path.stem for path in CATALOGUES.iterdir()} == set(TRANSLATED)


def test_the_texts_of_the_sheet_and_all_symbols_are_found_in_the_code() -> None:
    """The search finds what it is there for: sentences, plurals, and each symbol by its name."""
    wanted = {_key(message) for message in template() if message.id}
    assert (None, "not field-checked") in wanted
    assert (None, ("{n} sheet", "{n} sheets")) in wanted
    assert {("ISOM", symbol.name) for symbol in norm_table().rows.values()} <= wanted


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({}, []),
        ({"string": ""}, ["not translated: (None, 'up to {n} m')"]),
        ({"string": "bis {m} m"}, ["other values: (None, 'up to {n} m')"]),
        ({"string": "bis {n} m", "flags": ("fuzzy",)}, ["marked as doubtful: (None, 'up to {n} m')"]),
        ({"string": "bis {n} m "}, ["space at an end: (None, 'up to {n} m')"]),
        ({"id": "up to {n} km"}, ["missing: (None, 'up to {n} m')", "not in the code: (None, 'up to {n} km')"]),
    ],
)
def test_each_fault_is_found(change: dict[str, str], fault: list[str]) -> None:
    """The check itself, on a catalogue of one text."""
    wanted, kept = Catalog(locale="de"), Catalog(locale="de")
    wanted.add("up to {n} m")
    kept.add(**({"id": "up to {n} m", "string": "bis {n} m" if "km" not in str(change) else "bis {n} km"} | change))
    assert faults(kept, wanted) == fault


def test_a_plural_needs_all_its_forms() -> None:
    """Czech has three."""
    wanted, kept = Catalog(locale="cs"), Catalog(locale="cs")
    wanted.add(("{n} sheet", "{n} sheets"))
    kept.add(("{n} sheet", "{n} sheets"), ("{n} list", "{n} listy", ""))
    assert faults(kept, wanted) == ["not translated: (None, ('{n} sheet', '{n} sheets'))"]


def test_a_text_that_the_code_lost_goes_and_a_new_one_comes_untranslated() -> None:
    """Nothing is guessed from a text that looks alike."""
    wanted, kept = Catalog(), Catalog(locale="de")
    wanted.add("Ticks of the grid every {step_m} m.")
    kept.add("Ticks of the grid every {step} m.", "Marken alle {step} m.")
    text = text_of(kept, wanted)
    assert "{step_m}" in text
    assert "Marken" not in text
    assert "fuzzy" not in text
