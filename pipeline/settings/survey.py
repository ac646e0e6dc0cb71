"""How tiles are taken in, and when leaves were out."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from pipeline.settings.section import Section

SpringDay = Annotated[float, Field(ge=1, le=200)]
"""A day of the year in spring or early summer."""


class SurveySettings(Section):
    """How tiles are taken in, and when leaves were out."""

    reproject_geographic: bool = Field(
        True,
        description="Reproject tiles in degrees to UTM. Where it is false they are refused, for those who know theirs to be mislabelled.",
    )
    leaves_out_days_of_year: tuple[SpringDay, SpringDay] = Field(
        (110.0, 121.0),
        description="Days of the year on which broadleaved trees come into leaf in the lowlands at 45 degrees north, by the sea and inland: 20 April and 1 May (common practice, no source). Latitude and height are allowed for.",
    )
    leaves_down_day_of_year: float = Field(
        305.0,
        ge=240,
        le=365,
        description="Day of the year on which those trees are bare again: 1 November (common practice, no source).",
    )
