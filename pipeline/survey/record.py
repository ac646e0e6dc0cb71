"""A survey as it was judged: everything the report and the sheet say of it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass

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
