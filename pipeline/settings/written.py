"""What a mapper writes into the area file, read and checked: dates, paths, coordinate systems, intervals.

A mistake is answered with what was written, what is wanted, and an example. The functions raise ValueError with that
sentence; `reading` puts the file, the line and the setting before it.
"""

from __future__ import annotations

import contextlib
import datetime
import re
import unicodedata

LONGEST_PATH_BYTES = 1000
"""Longest path that is taken: the shortest limit of the usual systems is 1024 bytes (macOS; from memory)."""
LONGEST_NAME_BYTES = 255
"""Longest name of one file or folder on the usual file systems (from memory)."""
INTERVALS_M = (5.0, 2.5)
"""Contour intervals of the norm (ISOM 2017-2, 101)."""
FIRST_YEAR, LAST_YEAR = 2020, 2029
"""Years that the World Magnetic Models at hand cover: WMM 2025 holds from 2025.0 to 2030.0 (NOAA/CIRES), the one before
it from 2020.0."""

_YEAR_FIRST = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})", re.ASCII)
_DAY_FIRST = re.compile(r"(\d{1,2})\s?\.\s?(\d{1,2})\s?\.\s?(\d{4})", re.ASCII)


def shown(value: object, /) -> str:
    """What was written, short enough to be read in a message."""
    try:
        text = value if isinstance(value, str) else repr(value)
    except (ValueError, RecursionError):  # a number of thousands of digits
        return "something too long to show"
    return text if len(text) <= 80 else text[:77] + "..."


def as_list(value: object) -> object:
    """One pattern of tiles as a list of one."""
    return (value,) if isinstance(value, str) else value


def as_wishes(value: object) -> object:
    """One wish as a list of one; nothing, or the word none, as none."""
    return () if value is None or value == "none" else as_list(value)


def as_sources(value: object) -> object:
    """One source as a list of one, and a file's name alone as a source without credit."""
    listed = value if isinstance(value, list | tuple) else (value,)
    return tuple({"file": source} if isinstance(source, str) else source for source in listed)


def as_words(name: str) -> str:
    """A name that can be printed."""
    name = name.strip()
    if not name:
        raise ValueError("is empty; write a name")
    if any(unicodedata.category(letter) in ("Cc", "Cs") for letter in name):
        raise ValueError(f"{shown(ascii(name))} holds characters that cannot be printed; write letters only")
    return name


def as_hours(value: object) -> object:
    """A number of hours, also written with its unit: 4, "4 h"."""
    return value.strip().removesuffix("h").strip() if isinstance(value, str) else value


_PARKING = (
    "write latitude and longitude in degrees, for example parking: 48.2093, 13.4762, or the name of a file of points"
)
_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?")


def as_parking(value: object) -> object:
    """Places as pairs of latitude and longitude, or the path of a file of points.

    A pair may be written as YAML's list or as text, "48.2093, 13.4762" or "48,2093; 13,4762".
    """
    if isinstance(value, str):
        pair = _pair_in(value)
        return (_place_of(pair),) if pair else as_path(value)
    if value is None or not isinstance(value, list | tuple):
        return () if value is None else (_place_of(value),)
    is_pair = len(value) == 2 and all(isinstance(one, int | float) for one in value)
    listed = (value,) if is_pair else value
    return tuple(_place_of(_pair_in(one) if isinstance(one, str) else one) for one in listed)


def _pair_in(text: str) -> tuple[float, ...]:
    """The two numbers of a text that holds nothing else; none of another text."""
    parts = [part.strip() for part in text.split(";" if ";" in text else ",")]
    is_pair = len(parts) == 2 and all(_NUMBER.fullmatch(part) for part in parts)
    return tuple(float(part.replace(",", ".")) for part in parts) if is_pair else ()


def _place_of(pair: object) -> tuple[float, float]:
    """Latitude and longitude that there are on earth."""
    numbers = [one for one in pair if type(one) in (int, float)] if isinstance(pair, list | tuple) else []
    if not isinstance(pair, list | tuple) or len(numbers) != 2 or len(pair) != 2:
        raise ValueError(f"'{shown(pair)}' is no place; {_PARKING}")
    latitude, longitude = map(float, numbers)
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise ValueError(f"{latitude:g}, {longitude:g} is no latitude and longitude; {_PARKING}")
    return latitude, longitude


def as_paths(paths: tuple[str, ...]) -> tuple[str, ...]:
    """Paths or patterns, each checked by `as_path`."""
    return tuple(str(as_path(path)) for path in paths)


def as_path(path: str | None) -> str | None:
    """A path or pattern with forward slashes that a file system can hold."""
    if path is None:
        return None
    if any(unicodedata.category(letter) in ("Cc", "Cs") for letter in path):
        raise ValueError(
            f"{shown(ascii(path))} holds characters no file name has. Between double quotes YAML reads a backslash as "
            "the start of such a character; write paths with forward slashes, for example C:/maps/area"
        )
    if "\\" in path:
        slashed = path.replace("\\", "/")
        raise ValueError(f"'{shown(path)}' has backslashes; write '{shown(slashed)}', which works on all systems")
    if not path.strip():
        raise ValueError("is empty; write a path, for example lidar/*.laz, or leave the line out")
    encoded = [len(part.encode()) for part in path.split("/")]
    if max(encoded) > LONGEST_NAME_BYTES or sum(encoded) + len(encoded) > LONGEST_PATH_BYTES:
        raise ValueError(f"'{shown(path)}' is longer than file systems allow")
    return path


def as_crs(value: object) -> str | None:
    """A coordinate system that PROJ knows; a bare number is an EPSG code."""
    if value is None:
        return None
    is_code = isinstance(value, int) and not isinstance(value, bool) and 0 < value < 1_000_000
    text = f"EPSG:{value}" if is_code else shown(value) if not isinstance(value, str) else value
    import pyproj  # settings are read in every step, and most know of no coordinate system

    try:
        pyproj.CRS.from_user_input(text)
    except (pyproj.exceptions.CRSError, ValueError) as error:
        raise ValueError(
            f"'{shown(value)}' is not a coordinate system PROJ knows; write its EPSG code, for example EPSG:25832"
        ) from error
    return text


def as_interval(interval_m: float) -> float:
    """A contour interval of the norm."""
    if interval_m not in INTERVALS_M:
        nearest = min(INTERVALS_M, key=lambda known_m: abs(known_m - interval_m))
        raise ValueError(
            f"should be 5 or 2.5 (you wrote {interval_m:g}): the norm has 5 m, and 2.5 m where the terrain is flat "
            f"(ISOM 2017-2, 101); write contour_interval_m: {nearest:g}"
        )
    return interval_m


def as_date(value: object) -> datetime.date:
    """A day written year-month-day, within the years of the magnetic model."""
    if isinstance(value, datetime.datetime):
        return as_date(value.isoformat(" "))
    day = value if isinstance(value, datetime.date) else _day_of(shown(value).strip())
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise ValueError(
            f"{day} is outside the World Magnetic Model, which holds from {FIRST_YEAR} to {LAST_YEAR}; "
            f"write a day of these years, for example 2027-04-10"
        )
    return day


def _day_of(text: str) -> datetime.date:
    parts = _YEAR_FIRST.fullmatch(text)
    if parts:
        try:
            return datetime.date(*map(int, parts.groups()))
        except ValueError as error:
            raise ValueError(f"there is no such day as {text}; write year-month-day, for example 2027-04-10") from error
    example = "2027-04-10"
    parts = _DAY_FIRST.fullmatch(text)
    if parts:
        with contextlib.suppress(ValueError):
            example = datetime.date(*map(int, parts.groups()[::-1])).isoformat()
    raise ValueError(f"'{text}' is not written year-month-day; write it so: map_date: {example}")
