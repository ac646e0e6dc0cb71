"""A survey as it was judged: everything the report and the sheet say of it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import cast

from pipeline.survey.extent import Extent
from pipeline.survey.judge import Verdict
from pipeline.survey.measure import Density, Flight


@dataclass(frozen=True)
class Survey:
    """What there is and what can be made of it.

    Attributes
    ----------
    n_tiles, n_points : int
    read_ratio : float
        Share of the points that was read for it.
    coordinates : tuple of str
        CRS and units in words.
    share_by_class : mapping
        ASPRS class to its share of the points.
    ground_kinds : mapping
        Kind of ground (calm, restless or steep) to its share of the area.
    usual_slope : float or None
        Rise over run of the ground at the median; None where too few returns tell it.
    cautions : tuple of str
    verdicts : tuple of Verdict
    """

    n_tiles: int
    n_points: int
    read_ratio: float
    coordinates: tuple[str, ...]
    extent: Extent
    density: Density
    flight: Flight
    share_by_class: Mapping[int, float]
    ground_kinds: Mapping[str, float]
    usual_slope: float | None
    cautions: tuple[str, ...]
    verdicts: tuple[Verdict, ...]


def survey_record(survey: Survey, /) -> dict[str, object]:
    """The survey as plain values for a JSON file; days as year-month-day."""
    record: dict[str, object] = json.loads(json.dumps(asdict(survey), default=str))
    return record


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
    record : of `survey_record`, as `report/survey.json` holds it
    """
    verdicts = cast("list[dict[str, str]]", record["verdicts"])
    kinds = [verdict["feature"] for verdict in verdicts if verdict["grade"] == "not possible"]
    return tuple(symbol for kind in kinds for symbol in SYMBOLS_OF[kind])
