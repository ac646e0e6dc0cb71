"""When a survey is good enough, and for what."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section

Grades = tuple[float, float, float]
"""Least value for good, usable and poor; below the last a feature cannot be found."""


class SurveySettings(Section):
    """Intake of the tiles and the judgement of the survey."""

    reproject_geographic: bool = Field(
        True,
        description="Reproject tiles in degrees to UTM. Off: they are refused, for those who know theirs to be mislabelled.",
    )
    leaves_out_days_of_year: tuple[float, float] = Field(
        (110.0, 121.0),
        description="Day of the year on which broadleaved trees come into leaf in the lowlands at 45 degrees north, by the "
        "sea and inland: 20 April and 1 May (common practice, no source).",
    )
    leaves_down_day_of_year: float = Field(
        305.0, ge=240, le=365, description="Day they are bare again there: 1 November (common practice, no source)."
    )
