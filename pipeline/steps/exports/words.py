"""What is to be told with every export, from the reports of the run."""

from __future__ import annotations

import datetime
from pathlib import Path

from pipeline.exports.told import Told
from pipeline.steps.area.sheet import survey_line
from pipeline.words.codes import LanguageCode
from pipeline.words.language import Language


def told_of(
    *,
    survey: Path,
    season: Path,
    borrowed: Path,
    name: str,
    scale: int,
    interval_m: float,
    map_date: str,
    language: LanguageCode,
) -> Told:
    """The words on the area, its survey and all who made the data.

    Parameters
    ----------
    survey, season, borrowed : reports of these steps
    """
    said_in = Language(language)
    made_from = survey_line(survey, season, borrowed, said_in)
    return Told(name, scale, interval_m, datetime.date.fromisoformat(map_date), made_from, said_in)
