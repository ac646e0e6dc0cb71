"""Which code stands behind a step."""

from pathlib import Path

import pytest

from pipeline.files.disk.pieces import pieces_of
from pipeline.plan import code
from pipeline.plan.steps import STEPS
from pipeline.words.codes import TRANSLATED
from tests.paths import PROJECT

MODULES = sorted((PROJECT / "pipeline").rglob("*.py"))


def module_of(step: str) -> str:
    """The module a step lives in."""
    return STEPS[step].partition(":")[0]


def names_behind(step: str) -> set[str]:
    """Files behind a step, below the project."""
    return {path.relative_to(PROJECT).as_posix() for path in code.closure(module_of(step))}


def test_a_step_rests_on_all_it_imports_and_on_the_tables_it_reads() -> None:
    """Windows behind the ground filter, the norm's table behind boulders, the recall table behind the survey."""
    assert {"pipeline/lattice/windows.py", "pipeline/points/classes.py"} <= names_behind("block")
    assert "config/symbols.csv" in names_behind("rock")
    assert "config/boulder_recall.json" in names_behind("survey")


def test_a_step_does_not_rest_on_what_it_never_calls() -> None:
    """A change of the sheet classifies nothing again; a change of the ground filter draws no sheet."""
    assert not [name for name in names_behind("block") if "/sheet/" in name or "/water/" in name]
    assert not [name for name in names_behind("sheet") if "/points/" in name]


def test_a_new_translation_draws_the_sheets_again_and_nothing_else() -> None:
    """Settings know the languages by their letters, not their texts, so that no layer rests on a catalogue."""
    assert {f"pipeline/words/po/{language}.po" for language in TRANSLATED} <= names_behind("sheet")
    rest_on_words = {step for step in STEPS if any(name.endswith(".po") for name in names_behind(step))}
    assert {"sheet", "fieldwork_sheet"} <= rest_on_words
    assert not rest_on_words & {"split", "block", "landform", "rock", "vegetation", "manmade", "compose"}


@pytest.mark.parametrize("step", STEPS)
def test_one_byte_of_code_changes_the_fingerprint_and_a_comment_does_not(
    step: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A number changed in any module behind a step changes its fingerprint; in all others at once it does not."""
    before = code.fingerprint(module_of(step))
    behind = code.closure(module_of(step))
    meaning = code._meaning

    def after(changed: set[Path]) -> str:
        with monkeypatch.context() as patch:
            patch.setattr(code, "_meaning", lambda path: meaning(path) + (b"1" if path in changed else b""))
            return code.fingerprint(module_of(step))

    modules_behind = [path for path in MODULES if path in behind]
    assert modules_behind
    assert [path for path in modules_behind if after({path}) == before] == []
    assert after(set(MODULES) - behind) == before


def test_comments_and_docstrings_do_not_count(tmp_path: Path) -> None:
    """Rewording computes no region again; a number does."""
    first, reworded, changed = (tmp_path / f"{name}.py" for name in ("first", "reworded", "changed"))
    first.write_text(
        '"""One."""\nWIDTH_M = 1.0\n"""Width."""\n\n\ndef f() -> float:\n    """F."""\n    return WIDTH_M\n'
    )
    reworded.write_text("WIDTH_M = 1.0  # how wide\n\n\ndef f() -> float:\n    return WIDTH_M\n")
    changed.write_text(reworded.read_text().replace("1.0", "1.5"))
    assert code._meaning(first) == code._meaning(reworded)
    assert code._meaning(first) != code._meaning(changed)


def test_modules_that_were_read_before_are_not_parsed_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What an earlier run kept of the modules gives the fingerprints that parsing gives."""
    fresh = {step: code.fingerprint(module_of(step)) for step in ("block", "sheet")}

    def read() -> None:
        monkeypatch.setattr(code, "_KNOWN", {})
        with pieces_of(tmp_path / "code.sqlite", code.how_read()) as remembered:
            code.read_package(remembered)

    read()
    monkeypatch.setattr(code, "_parsed", lambda source: pytest.fail(f"parsed again: {source[:60]}"))
    read()
    monkeypatch.setattr(code, "_read", lambda path: code._KNOWN[path])
    assert {step: code.fingerprint(module_of(step)) for step in fresh} == fresh
