"""What is said with every export: what it is, who made the data, and what it is not to be used for."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from pipeline.sheet.texts import NEVER_SHOWN, NORM, NOT_FOR_USE, PROPOSALS

CAUTIONS = (NOT_FOR_USE, PROPOSALS, NEVER_SHOWN)
"""The cautions of the sheet, in English."""


@dataclass(frozen=True)
class Told:
    """The words that travel with a draft.

    Attributes
    ----------
    sources : tuple of str
        Whole sentences: the survey, who made the data and under which licence.
    """

    name: str
    scale: int
    contour_interval_m: float
    map_date: datetime.date
    sources: tuple[str, ...]

    @property
    def title(self) -> str:
        """One line."""
        return f"{self.name}, draft of an orienteering map"

    @property
    def made(self) -> str:
        """What was drawn, how and for when."""
        return (
            f"Drawn to {NORM} for 1:{self.scale}, contour interval {self.contour_interval_m:g} m, "
            f"by Tussock for {self.map_date.isoformat()}."
        )

    @property
    def paragraphs(self) -> tuple[str, ...]:
        """All of it, cautions first, since some readers show the beginning only."""
        return (*CAUTIONS, self.made, *self.sources)

    @property
    def text(self) -> str:
        """All of it in one line."""
        return " ".join(self.paragraphs)

    @property
    def credit(self) -> str:
        """The sources alone in one line."""
        return " ".join(self.sources)

    @property
    def entries(self) -> dict[str, str]:
        """The same by name, for formats that hold pairs of names and texts."""
        return {"TITLE": self.title, "CAUTION": " ".join(CAUTIONS), "MADE": self.made, "CREDIT": self.credit}
