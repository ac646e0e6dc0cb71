"""Symbols of the kinds of feature that a survey cannot show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

SYMBOLS_OF = {
    "contours": ("101", "101.1", "102", "103"),
    "landform detail": ("104", "105", "106", "107", "108", "109", "110", "111", "112", "113", "114", "115"),
    "open land": ("401", "402", "403", "404", "417", "418", "419"),
    "runnability": ("406", "407", "408", "409", "410"),
    "boulders": ("203", "204", "205", "206", "207", "208", "209"),
    "cliffs": ("201", "202"),
    "paths": ("502", "503", "504", "505", "506", "507"),
    "rides": ("508",),
    "water": ("301", "302"),
    "streams": ("304", "305", "306"),
    "buildings": ("521",),
}
"""Kind of feature of a verdict (`pipeline.survey.judge`) to the symbols of ISOM 2017-2 that it is about. Trees and
bushes are told from open land by the same pulses. Symbols of no kind are not judged."""


def symbols_not_possible(record: Mapping[str, object], /) -> tuple[str, ...]:
    """Symbols of all kinds that the survey calls "not possible".

    Parameters
    ----------
    record : of `pipeline.survey.record.survey_record`, as `report/survey.json` holds it
    """
    verdicts = cast("list[dict[str, str]]", record["verdicts"])
    kinds = [verdict["feature"] for verdict in verdicts if verdict["grade"] == "not possible"]
    return tuple(symbol for kind in kinds for symbol in SYMBOLS_OF[kind])
