"""Ways to make an area cheaper, with the hours that each saves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.effort.rates.gain import GRADE_SHARE
from pipeline.effort.rates.trade import SCALE_FACTOR, TASKS, Numbers

LEFT_OUT_SHARE = 0.1
"""Share of the ground that is left out where it costs most. Our choice."""
NOTES, NOTE_H = 24, 1 / 6
"""Notes on how it runs that are made on a walk for them, and hours that one takes with the way to it: half a day all
together. Common practice, no source."""
GREENS_SAVED_BY_NOTES = 0.15
"""Share of the hours for greens that limits fitted to such notes save, where the survey shows greens well. Our choice:
nobody has measured it."""


@dataclass(frozen=True)
class Way:
    """One way to shrink the work.

    Attributes
    ----------
    what : a sentence for the mapper
    saved_h : hours of fieldwork, likely; 0 where it does not pay
    why : what it rests on, or why it saves nothing
    cells : numbers of the squares that it is about
    """

    what: str
    saved_h: float
    why: str
    cells: tuple[int, ...] = ()


def ways_to_shrink(by_task: Numbers, area_km2: Numbers, /, *, scale: int, grades: Mapping[str, str]) -> list[Way]:
    """Three ways, the one that saves most first.

    Parameters
    ----------
    by_task : (n, tasks) likely hours of fieldwork in each square
    area_km2 : (n,) ground of each
    """
    ways = [
        _leave_out_the_densest(by_task.sum(axis=1), area_km2),
        _coarser(float(by_task.sum()), scale),
        _more_notes(float(by_task[:, TASKS.index("greens")].sum()), grades["greens"]),
    ]
    return sorted(ways, key=lambda way: -way.saved_h)


def _leave_out_the_densest(hours: Numbers, area_km2: Numbers) -> Way:
    dear = np.argsort(-hours / area_km2, kind="stable")
    n_out = int(np.searchsorted(np.cumsum(area_km2[dear]), LEFT_OUT_SHARE * area_km2.sum() * (1 + 1e-9), side="right"))
    if n_out == 0:
        why = "the area is too small to be cut by squares of 250 m"
        return Way("Leave out the hectares that cost most.", 0.0, why)
    out = dear[:n_out]
    hectares, saved = 100 * float(area_km2[out].sum()), float(hours[out].sum())
    usual = float(hours.sum() / area_km2.sum())
    return Way(
        f"Leave out the {hectares:.0f} hectares that cost most.",
        saved,
        f"they take {100 * saved / hectares:.0f} hours a square kilometre, the whole {usual:.0f}",
        tuple(out.tolist()),
    )


def _coarser(hours: float, scale: int) -> Way:
    coarser = [one for one in sorted(SCALE_FACTOR) if one > scale]
    if not coarser:
        return Way("Map at a coarser scale.", 0.0, f"1:{scale:,} is the coarsest of the norm")
    factor = SCALE_FACTOR[coarser[0]] / SCALE_FACTOR[scale]
    return Way(
        f"Map for 1:{coarser[0]:,} instead of 1:{scale:,}.",
        hours * (1 - factor),
        "only if the mapper leaves out what the smaller paper has no room for: the norm shows the same at both",
    )


def _more_notes(greens_h: float, grade: str) -> Way:
    what = f"Make {NOTES} notes on how it runs, then 'tussock calibrate', before the fieldwork."
    saved = GREENS_SAVED_BY_NOTES * GRADE_SHARE[grade] * greens_h - NOTES * NOTE_H
    if GRADE_SHARE[grade] == 0:
        return Way(what, 0.0, "this survey does not show the undergrowth, and notes cannot change that")
    if saved <= 0:
        return Way(what, 0.0, f"on so little green the {NOTES * NOTE_H:.0f} hours of making them are not won back")
    return Way(what, saved, f"the greens come out nearer; the {NOTES * NOTE_H:.0f} hours of making them are taken off")
