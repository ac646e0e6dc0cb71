"""The sentences on the sheet, whole and in one place, so that they can be read together and translated.

A `phrase` is in English here; `make words` collects them, and `MapText.language` says them in the mapper's language.

Required by ISOM 2017-2, 2.13 (from memory): scale, contour interval, north lines; recommended: scale bar, norm, year
and source of the survey, declination. The cautions are ours: nobody has walked this map yet.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.norm.paper import BASE_SCALE, enlargement
from pipeline.sheet.page.north import MagneticNorth
from pipeline.words.language import Language, phrase

NORM = "ISOM 2017-2"
"""The norm and its edition, as printed."""
OWN_NUMBERS = ("600", "600.1")
"""Numbers that are ours and not the norm's; they are not printed."""
NORM_SCALES = (BASE_SCALE, 10_000)
"""Scales of the norm: the second is an enlargement of the first (ISOM 2017-2, 2.2, from memory)."""

DRAFT = phrase("DRAFT")
NOT_CHECKED = phrase("not field-checked")
NOT_FOR_USE = phrase("DRAFT, not field-checked, not for navigation or competition.")
PROPOSALS = phrase(
    "Made from airborne lidar alone: everything here is a proposal to be confirmed, moved or rejected on foot. "
    "Cliffs, water, wires, and private and protected land need local knowledge. "
    "Follow local rules and the land owner's permission."
)
NEVER_SHOWN = phrase(
    "Never on this draft: what is private, forbidden or dangerous; whether water, a cliff or a fence may be crossed; "
    "most small paths; what has changed since the flight."
)
CAUTIONS = (NOT_FOR_USE, PROPOSALS, NEVER_SHOWN)
"""What the reader of any draft must know, in whatever form it is handed on, the gravest first."""
NOT_FOUND = phrase("This survey is too thin to show: {kinds}.")

OVERVIEW = phrase("Overview, about {scale}")
INTERVAL = phrase("contour interval {interval_m} m")
MAP_DATE = phrase("map date {date}")
ENLARGED_NORM = phrase("{norm}, enlarged to {percent} %")
SHEET_OF = phrase("sheet {number} of {n}")
CENTIMETRE = phrase("1 cm on the map is {metres} m")
ENLARGED_MAP = phrase("The map once more, enlarged to {scale}")
LEGEND, CAUTION, DATES, SURVEY, CORNERS = (
    phrase("Legend"),
    phrase("Caution"),
    phrase("Dates"),
    phrase("Survey"),
    phrase("Corners of the frame"),
)
LEGEND_ON_FIRST = phrase("Legend and sources on page 1.")
LEGEND_ELSEWHERE = phrase("Legend on the field sheet.")

NORTH_IS_UP = phrase("Magnetic north is up; lines every 300 m.")
DECLINATION = phrase("Declination {declination} ± {error}°, {grid} of grid north. {model}, {date}, {place}.")
CHANGE = phrase("It moves {change} a year.")
EAST, WEST = phrase("{angle}° east"), phrase("{angle}° west")

DATE_OF_MAP = phrase("Map: {date}, the day for which magnetic north is drawn.")
DATE_OF_SURVEY = phrase("Lidar: flown {days}.")
UNKNOWN_SURVEY = phrase("Lidar: the day of the flight is not known.")
DATE_OF_DRAFT = phrase("Draft: made {date}.")
DAYS = phrase("{first} to {last}")

DRAWN_BY = phrase("Drawn by Tussock with the symbols of {norm}{enlarged}.")
ENLARGED_FROM = phrase(", whose sizes are given for {base} and are enlarged to {percent} % at {scale}")
OWN_SCALE = phrase("The norm knows maps at {first} and {second}; this is an enlargement for work and training.")
COLOURS = phrase("Colours of the norm in CMYK; brown, black and purple overprint.")
STEEP_INTERVAL = phrase(
    "Contours every {interval_m} m are the norm's choice for flat ground, and {percent} % of this area is steeper than "
    "{steep} %: 5 m would read better."
)

CRS_AND_DEGREES = phrase("{crs}, metres; latitude and longitude in WGS 84")
GRID_TICKS = phrase("Ticks of the grid every {step_m} m.")
CORNER_NAMES = (phrase("upper left"), phrase("upper right"), phrase("lower left"), phrase("lower right"))
FIELDWORKER, FIELD_DATE, FIELD_SHEET, FIELD_NOTES = (
    phrase("Fieldworker"),
    phrase("Date"),
    phrase("Sheet"),
    phrase("Notes"),
)
CANDIDATE_KEY = phrase(
    "Pink: a candidate, less likely there than not, with its symbol's number and how sure the draft is, in percent."
)
DOUBT_KEY = phrase(
    "A grey figure beside a symbol: how sure the draft is of it, in percent, where that is under {percent}."
)
CHECK_KEY = phrase("A numbered ring: a place to look at, told below.")
RELIEF_KEY = phrase(
    "The map is printed pale over the shaded relief, light from the north-west, so that notes stand out."
)
FIELDWORK = phrase("fieldwork sheet")
FIELDWORK_TITLE = phrase("{name}, fieldwork sheet at {scale}")
CHANGES = phrase("sheet of changes")
CHANGES_TITLE = phrase("{name}, sheet of changes at {scale}")
CHANGE_KEY = phrase("A purple rim: ground that changed since the earlier survey or map.")
NO_CHANGES = phrase("Nothing was found that changed on the ground.")
HOW_TO_READ, CHECK_POINTS, NOTES = phrase("How to read this sheet"), phrase("Places to look at"), phrase("Notes")
NO_CHECK_POINTS = phrase("No list of places to look at has been made for this draft.")
AUTHOR = phrase("Tussock (draft, not field-checked)")
PDF_TITLE = phrase("{name}, draft at {scale}")


LIDAR = phrase("Airborne lidar ({maker}), {pulses} pulses per square metre.")
NO_MAKER = phrase("maker and licence not given")
LEAVES: Mapping[tuple[str, str], str] = {
    ("dates", "leaf-on"): phrase("Flown with leaves out: broadleaf undergrowth counts in full, as in a summer race."),
    ("dates", "leaf-off"): phrase("Flown without leaves: broadleaf undergrowth will be denser in summer than drawn."),
    ("dates", "in between"): phrase(
        "Flown with leaves coming or falling, or out on some days only: broadleaf undergrowth may be denser in summer "
        "than drawn."
    ),
    ("crowns", "leaf-on"): phrase("By what the crowns let through, leaves were out, or the forest is evergreen."),
    ("crowns", "leaf-off"): phrase(
        "By what the crowns let through, the trees were bare: undergrowth may be denser in summer than drawn."
    ),
}
"""What is said of the leaves, by what they are told from and how they were (`pipeline.vegetation.running.leaves`)."""
LEAVES_UNKNOWN = phrase("Whether leaves were out is not known.")
BORROWED = phrase("With data of others: {credits}.")
NO_CREDIT = phrase("{file} (no credit given)")
KINDS = (
    phrase("contours"),
    phrase("landform detail"),
    phrase("open land"),
    phrase("runnability"),
    phrase("boulders"),
    phrase("cliffs"),
    phrase("paths"),
    phrase("rides"),
    phrase("water"),
    phrase("streams"),
    phrase("buildings"),
)
"""Kinds of feature as the survey names them."""
NORTH, SOUTH = phrase("{degrees}°N"), phrase("{degrees}°S")
EASTERN, WESTERN = phrase("{degrees}°E"), phrase("{degrees}°W")


ENGLISH = Language()


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
    language: Language = ENGLISH
    """What all this is said in; `survey_line` is in it already."""


def survey_words(
    language: Language,
    /,
    *,
    maker: str,
    pulses_per_m2: float,
    leaves: str,
    leaves_told_from: str,
    borrowed: Sequence[tuple[str, str]],
) -> str:
    """What the draft was made from: the lidar, whether leaves were out when it was flown, and maps of others.

    Parameters
    ----------
    maker : who made the lidar and under which licence; "" where the area file does not say
    leaves, leaves_told_from : of `pipeline.vegetation.running.leaves.LeafSeason`
    borrowed : file and credit of each map that was borrowed from, the credit "" where the area file gives none
    """
    say = language.say
    found = [
        say(LIDAR, maker=maker.strip() or say(NO_MAKER), pulses=language.number(pulses_per_m2, decimals=1)),
        say(LEAVES.get((leaves_told_from, leaves), LEAVES_UNKNOWN)),
    ]
    credits = dict.fromkeys(credit or say(NO_CREDIT, file=file) for file, credit in borrowed)
    if credits:
        found.append(say(BORROWED, credits="; ".join(credits)))
    return " ".join(found)


def _percent(scale: int) -> str:
    return f"{100 * enlargement(scale):.0f}"


def title_facts(text: MapText, /, *, part: str, scale: float) -> list[str]:
    """What stands under the name: scale, interval, norm, date of the map, which sheet. `scale` is the page's."""
    language, say = text.language, text.language.say
    reduced = scale > text.scale * 1.001
    shown = say(OVERVIEW, scale=language.scale(round(scale, -2))) if reduced else language.scale(scale)
    norm = NORM if text.scale == BASE_SCALE else say(ENLARGED_NORM, norm=NORM, percent=_percent(text.scale))
    interval = say(INTERVAL, interval_m=language.number(text.contour_interval_m))
    return [fact for fact in (shown, interval, norm, say(MAP_DATE, date=language.day(text.map_date)), part) if fact]


def cautions(text: MapText, /) -> list[str]:
    """What the reader must know, the gravest first."""
    language, say = text.language, text.language.say
    found = [say(words) for words in CAUTIONS]
    if text.told.not_found:
        found.append(say(NOT_FOUND, kinds=", ".join(map(say, text.told.not_found))))
    if text.steep_percent:
        figures = {"percent": text.steep_percent, "steep": text.steep_from_percent}
        found.append(say(STEEP_INTERVAL, interval_m=language.number(text.contour_interval_m), **figures))
    return found


def dates(text: MapText, /) -> list[str]:
    """The day of the map, of the flight and of the draft, each said to be that."""
    language, say = text.language, text.language.say
    days = [language.day(datetime.date.fromisoformat(day)) for day in text.told.flown]
    span = days[0] if len(set(days)) == 1 else say(DAYS, first=days[0], last=days[-1]) if days else ""
    found = [say(DATE_OF_MAP, date=language.day(text.map_date))]
    found.append(say(DATE_OF_SURVEY, days=span) if span else say(UNKNOWN_SURVEY))
    if text.told.drafted:
        found.append(say(DATE_OF_DRAFT, date=language.day(text.told.drafted)))
    return found


def sources(text: MapText, /) -> list[str]:
    """What the map was made from and how it was drawn."""
    language, say = text.language, text.language.say
    figures = {"base": language.scale(BASE_SCALE), "percent": _percent(text.scale), "scale": language.scale(text.scale)}
    enlarged = "" if text.scale == BASE_SCALE else say(ENLARGED_FROM, **figures)
    drawn = [say(DRAWN_BY, norm=NORM, enlarged=enlarged), say(COLOURS)]
    if text.scale not in NORM_SCALES:
        drawn.insert(1, say(OWN_SCALE, first=language.scale(NORM_SCALES[0]), second=language.scale(NORM_SCALES[1])))
    return [text.survey_line, " ".join(drawn)]


def declination_words(text: MapText, /) -> str:
    """Declination with its error, yearly change, model, date and place, and the angle to the grid."""
    language, north = text.language, text.north
    words = language.say(
        DECLINATION,
        declination=_east_west(north.declination_deg, language),
        error=language.number(north.error_deg, decimals=1),
        grid=_east_west(north.grid_deg, language),
        model=north.model,
        date=language.day(north.date),
        place=_place(north, language),
    )
    return f"{words} {language.say(CHANGE, change=_east_west(north.yearly_change_deg, language, digits=2))}"


def _east_west(angle_deg: float, language: Language, *, digits: int = 1) -> str:
    return language.say(EAST if angle_deg >= 0 else WEST, angle=language.number(abs(angle_deg), decimals=digits))


def _place(north: MagneticNorth, language: Language) -> str:
    latitude, longitude = (
        language.number(abs(degrees), decimals=3) for degrees in (north.latitude_deg, north.longitude_deg)
    )
    up = language.say(NORTH if north.latitude_deg >= 0 else SOUTH, degrees=latitude)
    return f"{up} {language.say(EASTERN if north.longitude_deg >= 0 else WESTERN, degrees=longitude)}"


def sheet_part(number: int, n_parts: int, language: Language, /) -> str:
    """Which sheet of how many; the overview, number 0, says how many there are."""
    if not n_parts:
        return ""
    if not number:
        return language.say_counted("{n} sheet", "{n} sheets", n_parts)
    return language.say(SHEET_OF, number=number, n=n_parts)


def legend_words(number: str, name: str, language: Language, /) -> str:
    """A symbol's number and name; a number that is not the norm's is left out."""
    return language.symbol(name) if number in OWN_NUMBERS else f"{number}  {language.symbol(name)}"


def days_of(flown: Sequence[object], /) -> tuple[str, ...]:
    """Days as text, in order."""
    return tuple(sorted(str(day) for day in flown))
