"""The last words of a refresh: what changed first, then how far it can be trusted, and what to open."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import cast

from pipeline.advice.ending import NOT_FOR_USE, WIDEST
from pipeline.errors import counted

LEAVES = {"leaf-on": "leaves out", "leaf-off": "no leaves", "in between": "leaves coming or falling"}
"""How a survey's season is said."""
MOST_PLACES = 5
"""Places told one by one; the others stand in the list (our choice)."""
OPEN_FIRST = {
    "report/changes.html": "the map before and now with a slider, and the list of changes",
    "sheets/changes_sheet.pdf": "the changes on paper, to take along",
    "fieldwork/changes_list.csv": "the places to look at, those most worth it first",
    "changes.gpkg": "each change with its evidence, for a GIS",
    "refreshed.gpkg": "the map to go on with, in layers for a GIS",
    "exports/refreshed_styled.gpkg": "the same with its symbols, opened as a map",
}
"""What is opened first of a refresh, in this order: file below the folder of the new draft -> what it is."""
MANY = {
    "boulder gone": "boulders gone",
    "boulder new": "new boulders",
    "building gone": "buildings gone",
    "built": "built",
    "track": "roads, tracks or paths",
}
"""How several patches of a kind are called, where that is not the word for one."""


@dataclass(frozen=True)
class Ended:
    """What there is to say of a refresh that is done.

    Attributes
    ----------
    name : of the new area
    folder : where the new draft is
    old : the earlier map as the user named it
    command : how the user would name the new area, for `tussock refresh --undo`
    files : those of OPEN_FIRST that are there
    told : what stands in `refresh.json`
    read_as : how the earlier map was read, and what of it was kept, a sentence each
    """

    name: str
    folder: str
    old: str
    command: str
    files: Sequence[str]
    told: Mapping[str, object]
    read_as: Sequence[str] = ()


def describe_ended(ended: Ended, /) -> str:
    """What to print when a refresh is done: lines of at most WIDEST characters, but for names of folders."""
    return "\n".join(_lines(ended)) + "\n"


def _lines(ended: Ended) -> Iterator[str]:
    yield from _changes(ended)
    yield ""
    for sentence in sentences(ended.told):
        yield from textwrap.wrap(sentence, WIDEST)
    yield ""
    for sentence in ended.read_as:
        yield from textwrap.wrap(sentence, WIDEST)
    yield ""
    yield f"Open first, in {ended.folder}:"
    yield from (f"  {file:<31}{what}" for file, what in OPEN_FIRST.items() if file in ended.files)
    yield "The new draft by itself is in report/index.html. To take this refresh back:"
    yield f"  tussock refresh --undo {ended.command}"
    yield ""
    yield NOT_FOR_USE


def _changes(ended: Ended) -> Iterator[str]:
    patches, places = _counts(ended.told, "patches"), cast("list[dict[str, object]]", ended.told["places"])
    if not patches:
        yield f"{ended.name}: nothing was found that changed on the ground since {ended.old}."
        return
    yield f"{ended.name}: {counted(sum(patches.values()), 'place')} changed on the ground since {ended.old}:"
    for kind, number in sorted(patches.items(), key=lambda one: -one[1]):
        yield f"  {number:4,}  {kind if number == 1 else MANY.get(kind, kind)}"
    yield ""
    yield "Most worth a look:"
    for place in places[:MOST_PLACES]:
        words = f"{place['change']} ({float(str(place['sure'])):.0%} sure): {place['why']}"
        lead = f"  {place['name']}  "
        yield from textwrap.wrap(words, WIDEST, initial_indent=lead, subsequent_indent=" " * len(lead))
    if len(places) > MOST_PLACES:
        yield f"  and {counted(len(places) - MOST_PLACES, 'more place')} in fieldwork/changes_list.csv"


def sentences(told: Mapping[str, object], /) -> list[str]:
    """How far the changes can be trusted, in sentences: how the two lie, when they were flown, what cannot be told.

    Parameters
    ----------
    told : what stands in `refresh.json`
    """
    shift, counts = cast("dict[str, object]", told["shift"]), _counts(told, "counts")
    changed, whole = sum(number for name, number in counts.items() if name != "unchanged"), sum(counts.values())
    said = [f"Of {counted(whole, 'feature')} on the two maps, {changed:,} changed on the ground."]
    if told["verified_unchanged"] is not None:
        said.append(f"{float(str(told['verified_unchanged'])):.0%} of the ground is verified unchanged.")
    said = [" ".join(said)]
    if when := _when(told):
        said.append(when)
    said.append(
        str(told.get("lies", ""))
        or f"From the old survey to the new: {shift['east_m']:+.2f} m east, {shift['north_m']:+.2f} m north, "
        f"{shift['up_m']:+.2f} m up ({shift['how']})."
    )
    said += [str(told[name]) for name in ("datum", "tilt") if told[name]]
    return said + [str(words) for words in cast("list[object]", told["cannot_tell"])]


def _when(told: Mapping[str, object]) -> str:
    """When the two surveys were flown and whether leaves were out, as far as it is known."""
    dates, seasons = (cast("dict[str, object]", told[name]) for name in ("dates", "seasons"))
    parts = []
    for one, word in (("old", "then"), ("new", "now")):
        days, season = cast("list[str]", dates[one]), str(seasons[one])
        flown = f"flown {days[0]}" + (f" to {days[-1]}" if len(days) > 1 else "") if days else "date not known"
        parts.append(f"{word} {flown}" + (f", {LEAVES[season]}" if season in LEAVES else ""))
    known = any(cast("list[str]", dates[one]) or seasons[one] != "unknown" for one in ("old", "new"))
    return f"The surveys: {'; '.join(parts)}." if known else ""


def _counts(told: Mapping[str, object], name: str) -> dict[str, int]:
    return cast("dict[str, int]", told[name])
