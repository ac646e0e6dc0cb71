"""What a club says of its work, for the estimate of hours."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field

from pipeline.settings.section import Section
from pipeline.settings.written import as_path, as_words


class EffortSettings(Section):
    """How the club works: what turns hours of fieldwork into days, money and weeks."""

    day_h: float = Field(
        6.0,
        gt=0,
        le=16,
        description="Hours of fieldwork in a day, the way there and back not counted. Six is the planning example in print: more are walked, and not seen as well.",
    )
    day_rate: float = Field(
        200.0,
        ge=0,
        le=1_000_000,
        description="Money for a day of day_h hours, for fieldwork, drawing and travel alike. The default is a round figure to be replaced by yours; 0 where nobody is paid.",
    )
    currency: Annotated[str, AfterValidator(as_words)] = Field(
        "EUR", max_length=12, description="What the money is called in print."
    )
    travel_h: float = Field(
        1.0,
        ge=0,
        le=24,
        description="Hours there and back, for each day in the field; half an hour each way by default.",
    )
    mappers: int = Field(1, ge=1, le=100, description="Mappers in the field, each on ground of their own.")
    days_a_week: float = Field(
        2.0, gt=0, le=7, description="Days a week that each of them is in the field; a weekend by default."
    )
    history: Annotated[str | None, AfterValidator(as_path)] = Field(
        None,
        description="A table (CSV) of maps that the club made, to fit the rates to: 'area' (an area file that has a draft, or an outline within this area), 'hours', 'scale', and where known 'drawing_hours' and 'draft' (yes where it was mapped from a draft). Empty: the trade's rates.",
    )
