"""The last words of a run: how long it took, what to open first, and what the draft does not show."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import cast

from pipeline.advice.never import what_is_never_shown
from pipeline.errors import counted

WIDEST = 110
"""Characters in a line, as in the survey's report."""
_WHAT_FROM = 34  # characters before what a file is
NOT_FOR_USE = "Not field-checked; not for navigation or competition. Follow local rules and ask the land owner."

OPEN_FIRST = {
    "sheets/field_sheet.pdf": "the map on its sheet, to scale, to print and take along",
    "sheets/fieldwork_sheet.pdf": "the same ground pale and large, to write on",
    "report/index.html": "the draft in a browser or on a phone: evidence, lists, quality",
    "fieldwork/outings.txt": "what to look at on foot first, and walks through it",
    "draft.gpkg": "every feature as layers for a GIS, with how sure it is and why",
    "exports/draft_styled.gpkg": "the same with its symbols, opened as a map",
    "report/survey.txt": "what this survey can show, and how well",
}
"""What a mapper opens first, in this order, where it is there: file below the folder of the draft -> what it is."""


@dataclass(frozen=True)
class Ended:
    """What there is to say of a draft that has been made.

    Attributes
    ----------
    name : of the area
    folder : where the draft is
    seconds : that the run took
    covered_m2 : ground that the tiles cover
    files : those of OPEN_FIRST that are there
    n_drawn, n_candidates : features that the map draws, and those only proposed
    poor : kinds of feature of which the survey promises that little will be right
    impossible : kinds that cannot be had from it
    notes : sentences of this run, such as on the ground
    """

    name: str
    folder: str
    seconds: float
    covered_m2: float
    files: Sequence[str]
    n_drawn: int
    n_candidates: int
    poor: Sequence[str] = ()
    impossible: Sequence[str] = ()
    notes: Sequence[str] = ()


def describe_ending(ended: Ended, /) -> str:
    """What to print when a draft is ready: some 20 lines of at most WIDEST characters, but for names of folders."""
    return "\n".join(_lines(ended)) + "\n"


def _lines(ended: Ended) -> Iterator[str]:
    ground, took = in_area_words(ended.covered_m2), in_time_words(ended.seconds)
    yield f"The draft of {ended.name} ({ground}) is ready, after {took}."
    yield f"It is in {ended.folder}"
    yield ""
    yield "Open first:"
    yield from (f"  {file:<{_WHAT_FROM - 2}}{what}" for file, what in OPEN_FIRST.items() if file in ended.files)
    yield ""
    for sentence in (_features(ended), *ended.notes, *_weak(ended)):
        yield from textwrap.wrap(sentence, WIDEST)
    yield ""
    yield "What this draft does not show:"
    for sentence in what_is_never_shown():
        yield from textwrap.wrap(sentence, WIDEST, initial_indent="  ", subsequent_indent="  ")
    yield ""
    yield NOT_FOR_USE


def _features(ended: Ended) -> str:
    drawn = f"The map draws {counted(ended.n_drawn, 'feature')}"
    if not ended.n_candidates:
        return f"{drawn}; each carries its confidence and the evidence for it."
    are = "is" if ended.n_candidates == 1 else "are"
    return (
        f"{drawn}; {ended.n_candidates:,} more {are} only proposed, for a look on foot "
        "('status' is 'candidate' in draft.gpkg)."
    )


def _weak(ended: Ended) -> Iterator[str]:
    if ended.poor:
        yield f"Of this survey, expect little to be right in {', '.join(ended.poor)}: look at these on foot."
    if ended.impossible:
        yield f"This survey cannot show {', '.join(ended.impossible)}."


def in_time_words(seconds: float, /) -> str:
    """A time as a person says it: "1 second", "3 minutes 20 seconds", "2 hours 5 minutes"."""
    whole = max(1, round(seconds))
    hours, minutes = whole // 3600, whole % 3600 // 60
    parts = [(hours, "hour"), (minutes, "minute")] if hours else [(minutes, "minute"), (whole % 60, "second")]
    return " ".join(counted(number, word) for number, word in parts if number)


def in_area_words(area_m2: float, /) -> str:
    """Ground in square kilometres, or in hectares where it is little."""
    return f"{area_m2 / 1e6:.1f} km2" if area_m2 >= 9.5e5 else f"{area_m2 / 1e4:.1f} ha"


def weak_kinds(record: Mapping[str, object], grade: str, /) -> list[str]:
    """Kinds of feature that a survey gives a grade, such as "poor".

    Parameters
    ----------
    record : of `pipeline.survey.record.survey_record`, as `report/survey.json` holds it
    """
    verdicts = cast("list[dict[str, str]]", record["verdicts"])
    return [verdict["feature"] for verdict in verdicts if verdict["grade"] == grade]
