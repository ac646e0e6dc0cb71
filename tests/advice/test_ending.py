"""The last words of a run."""

from dataclasses import replace

import pytest

from pipeline.advice.ending import WIDEST, Ended, describe_ending, in_area_words, in_time_words, weak_kinds

ENDED = Ended(
    name="Tarnlow Rigg",
    folder="out",
    seconds=200.4,
    covered_m2=90_000.0,
    files=["sheets/field_sheet.pdf", "draft.gpkg"],
    n_drawn=1200,
    n_candidates=31,
    poor=["boulders", "paths"],
    notes=["Ground: " + "word " * 40],
)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.2, "1 second"),
        (59.6, "1 minute"),
        (61.2, "1 minute 1 second"),
        (200, "3 minutes 20 seconds"),
        (3600, "1 hour"),
        (7505, "2 hours 5 minutes"),
    ],
)
def test_times_read_as_people_say_them(seconds: float, words: str) -> None:
    """Singular and plural, and no parts that are nothing."""
    assert in_time_words(seconds) == words


@pytest.mark.parametrize(("area_m2", "words"), [(90_000, "9.0 ha"), (990_000, "1.0 km2"), (16e6, "16.0 km2")])
def test_ground_in_the_unit_that_suits(area_m2: float, words: str) -> None:
    """Hectares up to a square kilometre."""
    assert in_area_words(area_m2) == words


def test_it_says_what_to_open_and_only_what_is_there() -> None:
    """In the order in which to open it; a file that the run did not make is not named."""
    text = describe_ending(ENDED)
    assert text.index("sheets/field_sheet.pdf") < text.index("  draft.gpkg")
    assert "draft_styled.gpkg" not in text
    assert "after 3 minutes 20 seconds" in text
    assert "expect little to be right in boulders, paths" in text


def test_lines_fit_the_terminal() -> None:
    """Long sentences are wrapped."""
    assert max(map(len, describe_ending(ENDED).splitlines())) <= WIDEST


@pytest.mark.parametrize(
    ("drawn", "candidates", "words"),
    [
        (1, 0, "draws 1 feature;"),
        (1200, 1, "draws 1,200 features; 1 more is only"),
        (2, 31, "31 more are only"),
    ],
)
def test_plurals(drawn: int, candidates: int, words: str) -> None:
    """One feature, several features, one candidate."""
    assert words in describe_ending(replace(ENDED, n_drawn=drawn, n_candidates=candidates))


def test_weak_kinds_are_those_of_the_grade() -> None:
    """As the survey's record has them."""
    record = {"verdicts": [{"feature": "boulders", "grade": "poor"}, {"feature": "contours", "grade": "good"}]}
    assert weak_kinds(record, "poor") == ["boulders"]
    assert weak_kinds(record, "not possible") == []
