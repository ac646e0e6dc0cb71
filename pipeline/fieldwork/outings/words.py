"""The outings as a page of text: how long each is, where it starts, what is seen on it."""

from __future__ import annotations

from pipeline.errors import counted
from pipeline.fieldwork.outings.check import CheckList, Outing


def outings_in_words(found: CheckList, /, *, area: str, outing_h: float) -> str:
    """The text of `fieldwork/outings.txt`."""
    n_stops = len(set(found.rows["name"].str.rstrip("abcdefghijklmnopqrstuvwxyz")))
    lines = [
        f"{area}: {counted(len(found.rows), 'question')} at {counted(n_stops, 'stop')}, "
        f"{counted(len(found.outings), 'outing')} of at most {outing_h:g} h.",
        "",
    ]
    for number, outing in enumerate(found.outings, start=1):
        lines += _outing(number, outing, found)
    return "\n".join([*lines, *found.words, WALKING]) + "\n"


WALKING = (
    "Walking minutes are those of Tobler (1993) by slope, on paths and off them, slower where undergrowth is dense; "
    "minutes of looking are common practice (config/looks.csv)."
)


def _outing(number: int, outing: Outing, found: CheckList) -> list[str]:
    rows = found.rows[found.rows["outing"] == number].sort_values(["stop", "rank"])
    return [
        f"Outing {number}: {counted(len(outing.stops), 'stop')}, {outing.walking_minutes:.0f} minutes of walking and "
        f"{outing.looking_minutes:.0f} of looking, from {outing.start[0]:.0f} {outing.start[1]:.0f} and back.",
        *(f"  {row.stop:>3}  {row.name:<6} {row.look_at}" for row in rows.itertuples()),
        "",
    ]
