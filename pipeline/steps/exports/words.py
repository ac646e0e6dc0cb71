"""What is to be told with every export, from the reports of the run."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import cast

from pipeline.exports.told import Told
from pipeline.files import arrays


def told_of(
    *, survey: Path, season: Path, borrowed: Path, name: str, scale: int, interval_m: float, map_date: str
) -> Told:
    """The words on the area, its survey and all who made the data.

    Parameters
    ----------
    survey, season, borrowed : reports of these steps
    """
    said = (str(arrays.read_json(survey)["survey_line"]), str(arrays.read_json(season)["message"]))
    sources = cast("list[dict[str, object]]", arrays.read_json(borrowed)["sources"])
    credits = dict.fromkeys(str(source["credit"] or f"{source['file']} (no credit given)") for source in sources)
    with_others = (f"With data of others: {'; '.join(credits)}.",) if credits else ()
    return Told(name, scale, interval_m, datetime.date.fromisoformat(map_date), (*said, *with_others))
