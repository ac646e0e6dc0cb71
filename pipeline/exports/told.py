"""What is said with every export: what it is, who made the data, and what it is not to be used for."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from pipeline.sheet.texts import CAUTIONS, DATE_OF_MAP, DRAWN_BY, INTERVAL, NORM, PDF_TITLE
from pipeline.words.language import UNBROKEN, Language


@dataclass(frozen=True)
class Told:
    """The words that travel with a draft, as the sheet has them, in the mapper's language.

    Attributes
    ----------
    survey_line : what the draft was made from, who made the data and under which licence, whole sentences
    """

    name: str
    scale: int
    contour_interval_m: float
    map_date: datetime.date
    survey_line: str
    language: Language

    @property
    def title(self) -> str:
        """One line."""
        return self._say(PDF_TITLE, name=self.name, scale=self.language.scale(self.scale))

    @property
    def cautions(self) -> tuple[str, ...]:
        """What the reader must know, the gravest first."""
        return tuple(self._say(words) for words in CAUTIONS)

    @property
    def made(self) -> str:
        """How it was drawn and for when."""
        interval = self._say(INTERVAL, interval_m=self.language.number(self.contour_interval_m))
        drawn = self._say(DRAWN_BY, norm=NORM, enlarged=f", {interval}")
        return f"{drawn} {self._say(DATE_OF_MAP, date=self.language.day(self.map_date))}"

    @property
    def credit(self) -> str:
        """Who made the data, in one line."""
        return self.survey_line.replace(UNBROKEN, " ")

    @property
    def paragraphs(self) -> tuple[str, ...]:
        """All of it, cautions first, since some readers show the beginning only."""
        return (*self.cautions, self.made, self.credit)

    @property
    def text(self) -> str:
        """All of it in one line."""
        return " ".join(self.paragraphs)

    @property
    def entries(self) -> dict[str, str]:
        """The same by name, for formats that hold pairs of names and texts."""
        return {"TITLE": self.title, "CAUTION": " ".join(self.cautions), "MADE": self.made, "CREDIT": self.credit}

    def _say(self, message: str, /, **values: object) -> str:
        """A text in the mapper's language; a space is a space, for no line is broken here."""
        return self.language.say(message, **values).replace(UNBROKEN, " ")
