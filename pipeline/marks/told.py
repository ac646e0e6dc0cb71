"""What a mapper is told after marks were taken in."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import cast

from pipeline.errors import counted
from pipeline.marks.learning import HARDLY, Learned
from pipeline.marks.mark import Mark
from pipeline.norm.symbols import norm_table

LEAST_TOLD_SHIFT = 0.2
"""A shift of the log odds smaller than this moves no confidence by more than 0.05, and is not told (our choice)."""
MOST_TOLD = 5
"""Most texts named one by one."""


@dataclass
class Outcome:
    """What became of the files of a walk.

    Attributes
    ----------
    marks : all marks the files made, the walks past among them
    repeated : files that were read before
    untouched : places of the list that came back without a word
    unclear : texts that mean nothing here
    warnings : what was not taken, in words
    edits_note : on changes found in draft.gpkg itself
    learned : what the marks teach
    progress : content of fieldwork/progress.json
    answers_file : where notes on runnability were put for `tussock calibrate`; "" without any
    marks_file, area_file : names
    """

    marks: list[Mark] = field(default_factory=list)
    repeated: list[str] = field(default_factory=list)
    untouched: int = 0
    unclear: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    edits_note: str = ""
    learned: Learned = field(default_factory=Learned)
    progress: Mapping[str, object] = field(default_factory=dict)
    answers_file: str = ""
    marks_file: str = ""
    area_file: str = ""


def describe_outcome(outcome: Outcome, /) -> str:
    """The words for it."""
    lines = [outcome.edits_note] if outcome.edits_note else []
    lines += [f"{name} was read before, and was not read again." for name in outcome.repeated]
    lines += [_marks_line(outcome.marks), *_left_aside(outcome), *_learned_lines(outcome.learned)]
    lines += _progress_lines(outcome.progress)
    if outcome.answers_file:
        lines.append(
            f"What you wrote on how it runs is in {outcome.answers_file}: 'tussock calibrate {outcome.area_file} "
            f"{outcome.answers_file}' fits the greens to it."
        )
    lines.append(f"Kept in {outcome.marks_file}; 'tussock draft {outcome.area_file}' draws the map with it.")
    return "\n".join(lines)


def _marks_line(marks: Sequence[Mark]) -> str:
    if not marks:
        return "No new marks."
    counts = Counter(mark.status for mark in marks)
    words = [(status, status if status != "seen" else "walked past in sight") for status in counts]
    told = ", ".join(f"{counts[status]} {word}" for status, word in sorted(words))
    return f"{counted(len(marks), 'mark')}: {told}."


def _left_aside(outcome: Outcome) -> list[str]:
    lines = [f"{warning[:1].upper()}{warning[1:]}." for warning in outcome.warnings]
    if outcome.untouched:
        are = "came back without a word and says nothing" if outcome.untouched == 1 else (
            "came back without a word and say nothing")  # fmt: skip
        lines.append(f"{counted(outcome.untouched, 'place')} of the list {are}.")
    if outcome.unclear:
        names = ", ".join(f"'{text}'" for text in outcome.unclear[:MOST_TOLD])
        more = len(outcome.unclear) - MOST_TOLD
        rest = f" and {more} more" if more > 0 else ""
        lines.append(
            f"Not understood: {names}{rest}. Write the number of the place and a word (017 ok, 017 no, 017 moved), or "
            "a symbol (204, boulder)."
        )
    return lines


def _learned_lines(learned: Learned) -> list[str]:
    """Of which kinds the draft says too much or too little."""
    shifts = learned.shifts
    lines = []
    for group in sorted(shifts):
        if group[:1].isdigit():
            total = shifts[group] + shifts.get(f"section {group[:1]}", 0)
            if abs(total) >= LEAST_TOLD_SHIFT:
                name = norm_table().name_of(group).lower()
                more = "more" if total > 0 else "fewer"
                at_half = 1 / (1 + 2.718281828**-total)
                lines.append(
                    f"Of {group} ({name}) {more} are there than the draft promised: what it gave 50% now has "
                    f"{at_half:.0%}."
                )
    if abs(shifts.get(HARDLY, 0)) >= LEAST_TOLD_SHIFT:
        more = "more" if shifts[HARDLY] > 0 else "less"
        lines.append(f"On ground that the survey hardly saw there is {more} than promised.")
    return lines


def _progress_lines(progress: Mapping[str, object]) -> list[str]:
    if not progress.get("listed"):
        return []
    lines = [
        f"Done: {progress['done']} of {counted(cast('int', progress['listed']), 'place')} of the check list "
        f"({progress['done_percent']:.0f}%)"
    ]
    if progress.get("hours_left") or progress.get("hours_done"):
        lines[0] += f", {progress['hours_percent']:.0f}% of the time of looking; {progress['hours_left']} h are left"
    lines[0] += f". The list now has {counted(cast('int', progress['left']), 'place')}."
    return lines
