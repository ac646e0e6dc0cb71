"""What the page says in words beside the map: what the draft is, what it is made from, and what it cannot know."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast

from pipeline.norm.symbols import SymbolTable
from pipeline.report.lists import plain
from pipeline.report.looks import Json, names_of
from pipeline.report.place import Place
from pipeline.sheet.texts import CAUTIONS, OWN_NUMBERS


@dataclass(frozen=True)
class Told:
    """The area file's words and the reports of the run.

    Attributes
    ----------
    never : sentences on what no lidar shows
    survey, season : contents of `report/survey.json` and `report/leaf_season.json`; empty where they are missing
    made_from : who made the data, in a sentence
    notes : other reports of the run by their heading
    """

    name: str
    scale: int
    interval_m: float
    map_date: str
    never: list[str]
    made_from: str
    survey: Mapping[str, object]
    season: Mapping[str, object]
    notes: Mapping[str, str]


def about_of(told: Told, place: Place, symbols: SymbolTable, /) -> dict[str, Json]:
    """The data block `about`: names, dates, cautions, sources, and how well each kind of feature can be found."""
    survey, north = told.survey, place.north
    return {
        "name": told.name,
        "scale": told.scale,
        "interval_m": told.interval_m,
        "map_date": told.map_date,
        "crs": place.crs,
        "declination_deg": round(north.declination_deg, 1),
        "grid_deg": round(north.grid_deg, 2),
        "magnetic_model": north.model,
        "cautions": list(CAUTIONS),
        "never": cast("list[Json]", told.never),
        "made_from": told.made_from,
        "season": str(told.season.get("message", "")),
        "verdicts": plain(survey.get("verdicts", [])),
        "survey_cautions": plain(survey.get("cautions", [])),
        "coordinates": plain(survey.get("coordinates", [])),
        "density": plain(survey.get("density", {})),
        "extent": plain(survey.get("extent", {})),
        "flight": plain(survey.get("flight", {})),
        "notes": [[heading, text] for heading, text in told.notes.items() if text],
        "symbols": names_of(symbols, (number for number in symbols.rows if _is_mapped(number, symbols))),
    }


def _is_mapped(number: str, symbols: SymbolTable) -> bool:
    return number not in OWN_NUMBERS and symbols[number].section != "technical"
