"""The sentences on the sheet, whole and in one place, so that they can be read together and translated.

Required by ISOM 2017-2, 2.13 (from memory): scale, contour interval, north lines; recommended: scale bar, norm, year
and source of the survey, declination. The cautions are ours: nobody has walked this map yet.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.norm.paper import BASE_SCALE, enlargement
from pipeline.sheet.page.north import MagneticNorth

NORM = "ISOM 2017-2"
"""The norm and its edition, as printed."""
OWN_NUMBERS = ("600", "600.1")
"""Numbers that are ours and not the norm's; they are not printed."""

DRAFT = "DRAFT"
NOT_CHECKED = "not field-checked"
NOT_FOR_USE = "DRAFT, not field-checked, not for navigation or competition."
PROPOSALS = (
    "Made from airborne lidar alone: everything here is a proposal to be confirmed, moved or rejected on foot. "
    "Cliffs, water, wires, and private and protected land need local knowledge. "
    "Follow local rules and the land owner's permission."
)
NEVER_SHOWN = (
    "Never on this draft: what is private, forbidden or dangerous; whether water, a cliff or a fence may be crossed; "
    "most small paths; what has changed since the flight."
)
NOT_FOUND = "This survey is too thin to show: {kinds}."

SCALE = "1:{scale}"
OVERVIEW = "Overview, about 1:{scale}"
INTERVAL = "contour interval {interval_m} m"
MAP_DATE = "map date {date}"
ENLARGED_NORM = "{norm}, enlarged to {percent} %"
SHEETS = "{n} sheets"
SHEET_OF = "sheet {number} of {n}"
CENTIMETRE = "1 cm on the map is {metres} m"
ENLARGED_MAP = "The map once more, enlarged to 1:{scale}"
LEGEND, CAUTION, DATES, SURVEY, CORNERS = "Legend", "Caution", "Dates", "Survey", "Corners of the frame"
LEGEND_ON_FIRST = "Legend and sources on page 1."
LEGEND_ELSEWHERE = "Legend on the field sheet."

NORTH_IS_UP = "Magnetic north is up; lines every 300 m."
DECLINATION = "Declination {declination} ± {error}°, {grid} of grid north. {model}, {date}, {place}."
CHANGE = "It moves {change} a year."
EAST, WEST = "{angle}° east", "{angle}° west"

DATE_OF_MAP = "Map: {date}, the day for which magnetic north is drawn."
DATE_OF_SURVEY = "Lidar: flown {days}."
UNKNOWN_SURVEY = "Lidar: the day of the flight is not known."
DATE_OF_DRAFT = "Draft: made {date}."
DAYS = "{first} to {last}"

DRAWN_BY = "Drawn by Tussock with the symbols of {norm}{enlarged}."
ENLARGED_FROM = ", whose sizes are given for 1:{base} and are enlarged to {percent} % at 1:{scale}"
OWN_SCALE = "The norm knows maps at 1:15 000 and 1:10 000; this is an enlargement for work and training."
COLOURS = "Colours of the norm in CMYK; brown, black and purple overprint."
STEEP_INTERVAL = (
    "Contours every {interval_m} m are the norm's choice for flat ground, and {percent} % of this area is steeper than "
    "{steep} %: 5 m would read better."
)

CRS_AND_DEGREES = "{crs}, metres; latitude and longitude in WGS 84"
GRID_TICKS = "Ticks of the grid every {step_m} m."
CORNER_NAMES = ("upper left", "upper right", "lower left", "lower right")
FIELDWORKER, FIELD_DATE, FIELD_SHEET, FIELD_NOTES = "Fieldworker", "Date", "Sheet", "Notes"
CANDIDATE_KEY = (
    "Pink: a candidate, less likely there than not, with its symbol's number and how sure the draft is, in percent."
)
DOUBT_KEY = "A grey figure beside a symbol: how sure the draft is of it, in percent, where that is under {percent}."
CHECK_KEY = "A numbered ring: a place to look at, told below."
RELIEF_KEY = "The map is printed pale over the shaded relief, light from the north-west, so that notes stand out."
FIELDWORK = "fieldwork sheet"
FIELDWORK_TITLE = "{name}, fieldwork sheet at 1:{scale}"
HOW_TO_READ, CHECK_POINTS, NOTES = "How to read this sheet", "Places to look at", "Notes"
NO_CHECK_POINTS = "No list of places to look at has been made for this draft."
AUTHOR = "Tussock (draft, not field-checked)"
PDF_TITLE = "{name}, draft at 1:{scale}"


@dataclass(frozen=True)
class Told:
    """What is known about where the draft comes from.

    Attributes
    ----------
    drafted : day on which the draft was made, if it is to be printed
    flown : days of flight as year-month-day, in order; empty where not known
    not_found : kinds of feature that the survey cannot show
    """

    drafted: datetime.date | None = None
    flown: tuple[str, ...] = ()
    not_found: tuple[str, ...] = ()


@dataclass(frozen=True)
class MapText:
    """What is said about the map."""

    name: str
    scale: int
    contour_interval_m: float
    map_date: datetime.date
    survey_line: str
    north: MagneticNorth
    told: Told = Told()
    steep_percent: int = 0
    """Share of the area that is too steep for the contour interval, in percent."""
    steep_from_percent: int = 0
    """Slope from which ground counts as that."""


def thousands(number: float, /) -> str:
    """A whole number with a space between thousands, as map scales are written."""
    return f"{number:,.0f}".replace(",", " ")


def _percent(scale: int) -> str:
    return f"{100 * enlargement(scale):.0f}"


def title_facts(text: MapText, /, *, part: str, scale: float) -> list[str]:
    """What stands under the name: scale, interval, norm, date of the map, which sheet. `scale` is the page's."""
    reduced = scale > text.scale * 1.001
    shown = OVERVIEW.format(scale=thousands(round(scale, -2))) if reduced else SCALE.format(scale=thousands(scale))
    enlarged = ENLARGED_NORM.format(norm=NORM, percent=_percent(text.scale))
    norm = NORM if text.scale == BASE_SCALE else enlarged
    interval = INTERVAL.format(interval_m=f"{text.contour_interval_m:g}")
    return [fact for fact in (shown, interval, norm, MAP_DATE.format(date=text.map_date.isoformat()), part) if fact]


def cautions(text: MapText, /) -> list[str]:
    """What the reader must know, the gravest first."""
    found = [NOT_FOR_USE, PROPOSALS, NEVER_SHOWN]
    if text.told.not_found:
        found.append(NOT_FOUND.format(kinds=", ".join(text.told.not_found)))
    if text.steep_percent:
        figures = {"percent": text.steep_percent, "steep": text.steep_from_percent}
        found.append(STEEP_INTERVAL.format(interval_m=f"{text.contour_interval_m:g}", **figures))
    return found


def dates(text: MapText, /) -> list[str]:
    """The day of the map, of the flight and of the draft, each said to be that."""
    days = text.told.flown
    span = days[0] if len(set(days)) == 1 else DAYS.format(first=days[0], last=days[-1]) if days else ""
    found = [DATE_OF_MAP.format(date=text.map_date.isoformat())]
    found.append(DATE_OF_SURVEY.format(days=span) if span else UNKNOWN_SURVEY)
    if text.told.drafted:
        found.append(DATE_OF_DRAFT.format(date=text.told.drafted.isoformat()))
    return found


def sources(text: MapText, /) -> list[str]:
    """What the map was made from and how it was drawn."""
    figures = {"base": thousands(BASE_SCALE), "percent": _percent(text.scale), "scale": thousands(text.scale)}
    enlarged = "" if text.scale == BASE_SCALE else ENLARGED_FROM.format(**figures)
    drawn = [DRAWN_BY.format(norm=NORM, enlarged=enlarged), COLOURS]
    if text.scale not in (BASE_SCALE, 10_000):
        drawn.insert(1, OWN_SCALE)
    return [text.survey_line, " ".join(drawn)]


def declination_words(north: MagneticNorth, /) -> str:
    """Declination with its error, yearly change, model, date and place, and the angle to the grid."""
    words = DECLINATION.format(
        declination=_east_west(north.declination_deg),
        error=f"{north.error_deg:.1f}",
        grid=_east_west(north.grid_deg),
        model=north.model,
        date=north.date.isoformat(),
        place=_place(north),
    )
    return f"{words} {CHANGE.format(change=_east_west(north.yearly_change_deg, digits=2))}"


def _east_west(angle_deg: float, *, digits: int = 1) -> str:
    return (EAST if angle_deg >= 0 else WEST).format(angle=f"{abs(angle_deg):.{digits}f}")


def _place(north: MagneticNorth) -> str:
    latitude = f"{abs(north.latitude_deg):.3f}°{'N' if north.latitude_deg >= 0 else 'S'}"
    return f"{latitude} {abs(north.longitude_deg):.3f}°{'E' if north.longitude_deg >= 0 else 'W'}"


def sheet_part(number: int, n_parts: int, /) -> str:
    """Which sheet of how many; the overview, number 0, says how many there are."""
    if not n_parts:
        return ""
    return SHEET_OF.format(number=number, n=n_parts) if number else SHEETS.format(n=n_parts)


def legend_words(number: str, name: str, /) -> str:
    """A symbol's number and name; a number that is not the norm's is left out."""
    return name if number in OWN_NUMBERS else f"{number}  {name}"


def days_of(flown: Sequence[object], /) -> tuple[str, ...]:
    """Days as text, in order."""
    return tuple(sorted(str(day) for day in flown))
