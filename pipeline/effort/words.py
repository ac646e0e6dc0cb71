"""The estimate in plain words, for a mapper and for a treasurer."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from typing import cast

from pipeline.effort.age import said_of_age
from pipeline.effort.costs import weeks_for
from pipeline.effort.estimate import LEAST_UNSEEN_KM2, Estimate, all_on_foot
from pipeline.effort.first import PIECE_KM2
from pipeline.effort.rates.trade import PRINTED_H_PER_KM2, TASKS, Range
from pipeline.effort.reasons import TASK_NAMES, reason_of
from pipeline.errors import counted
from pipeline.settings import EffortSettings

WIDEST = 110
"""Characters in a line, as in the survey's report."""
NIL_BELOW = 0.05
"""Share of the hours that a draft must save to be called a gain. Our choice."""
REASON_MARK = "\x1f"
"""Stands before the reason of a task until lines are broken; a character that no text holds."""
LEAST_SHARE = 0.005
"""Share of the ground that is named: less is 0 per cent in print."""
OUR_RATE = tuple(EffortSettings.model_fields[name].default for name in ("day_rate", "currency"))
"""What stands in the area file where the club writes nothing."""
NO_PROMISE = "An estimate, not a promise: two mappers on one forest differ by as much as the range."


def describe(estimate: Estimate, /) -> list[str]:
    """The estimate as lines of at most WIDEST characters."""
    return [line for text in _paragraphs(estimate) for line in _wrapped(text)]


def describe_quick(estimate: Estimate, source: str, why_wide: str, /) -> list[str]:
    """A quick look as lines: the whole only, what it was told from, and why its range is wide."""
    texts = [
        f"A quick look at the effort for {estimate.name}: {in_km2(estimate.area_km2)} at 1:{estimate.scale:,}",
        *_whole(estimate),
        f"{source} {why_wide}",
        said_of_age(estimate.age),
        said_of_terms(estimate),
        NO_PROMISE,
    ]
    return [line for text in texts for line in _wrapped(text)]


def _wrapped(text: str) -> list[str]:
    """A text as lines; what begins with spaces goes on a little to the right, a task below its reason."""
    indent = len(text) - len(text.lstrip())
    further = text.index(REASON_MARK) if REASON_MARK in text else indent + 2 if indent else 0
    return textwrap.wrap(text.replace(REASON_MARK, ""), WIDEST, subsequent_indent=" " * further) or [""]


def _paragraphs(estimate: Estimate) -> Iterator[str]:
    yield f"Effort for {estimate.name}: {in_km2(estimate.area_km2)} at 1:{estimate.scale:,}, measured on its draft"
    yield from _whole(estimate)
    yield ""
    yield "Where the hours in the field go (likely):"
    yield from _tasks(estimate)
    yield ""
    yield from _sheets(estimate)
    yield "To be mapped on foot as if there were no draft (in the hours above):"
    yield from (f"  {in_hours(one.hours)}: {one.what} ({one.why})" for one in all_on_foot(estimate))
    if estimate.outside_km2 >= LEAST_UNSEEN_KM2:
        yield said_of_outside(estimate)
    yield ""
    yield said_of_gain(estimate)
    yield ""
    yield "To make it cheaper:"
    yield from (
        f"  {_saved(estimate, way.saved_h)}: {way.what} {way.why[0].upper()}{way.why[1:]}."
        for way in estimate.shrinking
    )
    yield ""
    yield said_of_first(estimate)
    yield said_of_age(estimate.age)
    yield from estimate.pace.said
    yield said_of_terms(estimate)
    yield NO_PROMISE


def _whole(estimate: Estimate) -> Iterator[str]:
    likely_h = float(estimate.by_task.sum())
    days, terms, area = estimate.days, estimate.terms, estimate.area_km2
    yield f"  Fieldwork: {in_range(estimate.fieldwork(likely_h))}; {likely_h / area:.0f} a square kilometre"
    yield f"  Drawing: {in_range(estimate.drawing(likely_h))}"
    yield (
        f"  Days in the field: {days['likely']:,} likely, {days['low']:,} to {days['high']:,}; plan "
        f"{days['planned']:,}, with a reserve of a fifth"
    )
    weeks = {name: weeks_for(days[name], terms) for name in ("low", "planned", "high")}
    yield (
        f"  Calendar: {counted(weeks['planned'], 'week')} ({weeks['low']:,} to {weeks['high']:,}) for "
        f"{counted(terms.mappers, 'mapper')} at {terms.days_a_week:g} days a week"
    )
    yield f"  Travel: {in_hours(terms.travel_h * days['likely'])}, {in_hours(terms.travel_h)} for each day in the field"
    cost = estimate.cost(likely_h)
    yield (
        f"  Cost: {in_money(cost.likely, estimate)} likely, {cost.low:,.0f} to {cost.high:,.0f}; "
        f"{cost.likely / area:,.0f} a square kilometre, with drawing and travel"
    )


def _tasks(estimate: Estimate) -> Iterator[str]:
    hours = dict(zip(TASKS, estimate.by_task.sum(axis=0).tolist(), strict=True))
    whole_h, whole_cost = sum(hours.values()), estimate.cost(sum(hours.values())).likely
    for task in sorted(TASKS, key=lambda one: -hours[one]):
        share = hours[task] / whole_h
        yield (
            f"  {TASK_NAMES[task]:<24} {hours[task]:>7,.1f} h {share:>4.0%} {share * whole_cost:>9,.0f} "
            f"{estimate.currency}  {REASON_MARK}{reason_of(task, estimate.held, estimate.grades)}"
        )


def _sheets(estimate: Estimate) -> Iterator[str]:
    if not estimate.sheets:
        return
    hours = estimate.by_task.sum(axis=1)
    said = ", ".join(f"{name} {in_hours(float(hours @ share))}" for name, share in estimate.sheets.items())
    yield f"By sheet (what two sheets share counts for both): {said}."
    yield ""


def said_of_gain(estimate: Estimate, /) -> str:
    """What the same area would take without a draft, and honestly where the gain is next to nothing."""
    with_h, without_h = float(estimate.by_task.sum()), float(estimate.without_draft.sum())
    saved = 1 - with_h / without_h
    open_share = estimate.held["open_km2"] / estimate.area_km2
    dark_share = estimate.held["not_seen_km2"] / estimate.area_km2
    said = f"Without a draft: {in_hours(without_h)} in the field"
    if saved < NIL_BELOW:
        said += f"; the draft saves next to nothing here ({saved:.0%})"
    else:
        said += f"; the draft saves {saved:.0%} of it. Nobody has measured that share: it is our choice"
    notes = []
    if open_share >= LEAST_SHARE:
        notes.append(f"nothing on the {open_share:.0%} that are open land, where a mapper sees all from one place")
    if dark_share >= LEAST_SHARE:
        notes.append(f"nothing on the {dark_share:.0%} that were not seen")
    return f"{said}. It saves {'; '.join(notes)}." if notes else f"{said}."


def said_of_outside(estimate: Estimate, /) -> str:
    """What of the boundary no tile covers, and what it takes at the published example."""
    hours = estimate.outside_km2 * PRINTED_H_PER_KM2[1]
    return (
        f"Not in the hours above: {in_km2(estimate.outside_km2)} within the boundary that no tile covers, about "
        f"{in_hours(hours)} as ordinary forest."
    )


def said_of_first(estimate: Estimate, /) -> str:
    """Which piece to map first."""
    piece = estimate.first
    if not piece:
        return f"First: the whole, which is hardly more than {PIECE_KM2:g} km2."
    area, hours = estimate.measures["area_km2"].to_numpy()[piece].sum(), estimate.by_task.sum(axis=1)[piece].sum()
    low, high = estimate.cells.place[piece].min(axis=0) * 250, (estimate.cells.place[piece].max(axis=0) + 1) * 250
    usual = estimate.by_task.sum() / estimate.area_km2
    return (
        f"First: {in_km2(float(area))} in one piece between east {low[0]:,} and {high[0]:,}, north {low[1]:,} and "
        f"{high[1]:,}, for {in_hours(float(hours))}: {hours / area:.0f} hours a square kilometre (the whole "
        f"{usual:.0f}). It has most ground to run over for an hour, open land counted half."
    )


def said_of_progress(record: Mapping[str, object], progress: Mapping[str, object], /) -> list[str]:
    """Lines on the hours that are left, by what of the check list has been looked at; none where nobody knows.

    Parameters
    ----------
    record : of `pipeline.effort.record.record_of`
    progress : content of `fieldwork/progress.json`, of which `hours_percent` is the share of the time of looking
    """
    percent = progress.get("hours_percent")
    if not isinstance(percent, int | float) or not 0 < percent <= 100:
        return []
    left = 1 - percent / 100
    hours = cast("Mapping[str, float]", record["fieldwork_h"])
    return _wrapped(
        f"Of the check list {percent:g} % of the time is done. If the rest of the fieldwork is as far, "
        f"{in_range(Range(hours['low'], hours['likely'], hours['high']).times(left))} are left."
    )


def said_of_terms(estimate: Estimate, /) -> str:
    """The assumptions that the area file may change."""
    terms = estimate.terms
    is_ours = (terms.day_rate, estimate.currency) == OUR_RATE
    return (
        f"Assumed, to be changed under 'effort:' in the area file: day_h {terms.day_h:g}, day_rate {terms.day_rate:g} "
        f"{estimate.currency}, travel_h {terms.travel_h:g}, mappers {terms.mappers}, days_a_week {terms.days_a_week:g}."
        + (" The day rate is a round figure of ours: write yours." if is_ours else "")
    )


def _saved(estimate: Estimate, hours: float) -> str:
    if hours <= 0:
        return "saves nothing"
    whole = float(estimate.by_task.sum())
    money = estimate.cost(whole).likely * hours / whole
    return f"saves about {in_hours(hours)}, {in_money(money, estimate)}"


def in_money(amount: float, estimate: Estimate, /) -> str:
    """Money without cents."""
    return f"{amount:,.0f} {estimate.currency}"


def in_hours(hours: float, /) -> str:
    """Hours as a person says them: minutes below one, tenths below ten, whole ones above."""
    if round(60 * hours) < 60:
        return counted(round(60 * hours), "minute")
    if hours < 10:
        return "1 hour" if hours < 1.05 else f"{round(hours, 1):g} hours"
    return f"{hours:,.0f} hours"


def in_range(hours: Range, /) -> str:
    """Likely hours, and from where to where."""
    number = ".1f" if hours.likely < 10 else ",.0f"
    return f"{hours.likely:{number}} hours likely, {hours.low:{number}} to {hours.high:{number}}"


def in_km2(area_km2: float, /) -> str:
    """Ground in square kilometres, or in hectares where it is little."""
    return f"{area_km2:.1f} km2" if area_km2 >= 0.95 else f"{100 * area_km2:.1f} ha"
