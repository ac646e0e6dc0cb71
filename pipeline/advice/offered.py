"""An area file to start from, proposed from the tiles of a folder."""

from __future__ import annotations

import datetime
import json
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import yaml

from pipeline.intake.tile_header import TileHeader

FLAT_BELOW_RATIO = 0.05
"""Usual slope, rise over run, below which terrain counts as flat: there 5 m contours lie more than 100 m apart, which
is 1 cm on a sheet at 1:10 000. ISOM 2017-2 (101) allows 2.5 m "where the terrain is flat" and gives no number: our
choice."""
SCALE = 10000
"""Scale that is proposed, 1 to this number: common practice for forest maps made anew, no source."""
LAST_DAY = datetime.date(2029, 12, 31)
"""Last day of the World Magnetic Model at hand; an area file with a later one would be refused."""
PAPER_NAMES = ("licen", "readme", "metadata", "attribution", "copyright")
"""Beginnings or parts of the names of files that commonly say who made data and under which licence."""
_PLAIN = re.compile(
    r"[A-Za-z][\w ./-]*(?:/\*\.la[sz])?|\.", re.ASCII
)  # may stand without quotes, unless it is a word such as no
_NOTES_FROM = 33  # characters before the notes of the file, which stand one below the other
SCHEMA_LINE = "# yaml-language-server: $schema=area.schema.json"
"""Tells editors which file completes the area file."""


@dataclass(frozen=True)
class Found:
    """What is known of tiles for which there is no area file.

    Attributes
    ----------
    folder_name : name of the folder that the area file is for
    tiles : as `tiles:` would name them, from that folder
    crs_name, crs_code : of their coordinate system; "" where they do not say it, or it has no EPSG code
    says_height_unit : whether the tiles say the unit of their heights
    usual_slope : rise over run of the ground at the median; None where it is not known
    made_by : what the headers say of who made the tiles
    papers : names of files beside the tiles that may say who made them and under which licence
    """

    folder_name: str
    tiles: tuple[str, ...]
    crs_name: str = ""
    crs_code: str = ""
    says_height_unit: bool = True
    usual_slope: float | None = None
    made_by: tuple[str, ...] = ()
    papers: tuple[str, ...] = ()


def interval_for(usual_slope: float | None, /) -> tuple[float, str]:
    """The contour interval in metres for ground of a usual slope (rise over run), and why in words."""
    if usual_slope is None:
        return 5.0, "5, or 2.5 where the terrain is flat"
    apart_m = 5 / max(usual_slope, 0.001)
    spread = "more than 1 km" if apart_m > 1000 else f"{apart_m:.0f} m"
    slope = f"the usual slope is {usual_slope:.0%}"
    if usual_slope < FLAT_BELOW_RATIO:
        return 2.5, f"flat: {slope}, 5 m contours would lie {spread} apart"
    return 5.0, f"{slope}: 5 m contours lie {spread} apart"


def area_text(found: Found, /, *, today: datetime.date) -> str:
    """The text of an area file that can be drafted as it is; each line says what it is and how it was found."""
    return "\n".join(_lines(found, today)) + "\n"


def _lines(found: Found, today: datetime.date) -> Iterator[str]:
    interval_m, why = interval_for(found.usual_slope)
    yield SCHEMA_LINE
    yield "# Proposed by `tussock survey` from the tiles. Change what does not fit; paths are relative to this file."
    yield ""
    yield _line(f"name: {_quoted(_as_title(found.folder_name))}", "as printed on the sheet")
    yield _line(f"tiles: {_tiles(found.tiles)}", "a pattern, a folder, or a list of files")
    if found.crs_name:
        code = found.crs_code or "EPSG:25832"
        yield _line(f"# crs: {_plain(code)}", f"not needed, the tiles say theirs: {_plain(found.crs_name)}")
    else:
        yield _line("# crs: EPSG:25832", "write theirs and remove the '#': the tiles do not say it")
    if not found.says_height_unit:
        yield _line("# height_unit: foot", "the tiles do not say theirs; metres are assumed")
    yield _line("# boundary: boundary.gpkg", "outline of the area; without it, all the ground the tiles cover")
    yield _line(
        "# credit: Land Survey 2025, CC BY 4.0", "who made the lidar and under which licence; printed on the sheet"
    )
    yield from (f"#   {_plain(sentence)}" for sentence in _on_credit(found))
    yield _line(f"scale: {SCALE}", "15000, 10000, 7500 or 5000")
    yield _line(f"contour_interval_m: {interval_m:g}", why)
    yield _line(f"map_date: {min(today, LAST_DAY)}", "day the map is for: sets the magnetic declination")
    yield _line("out: out", "where the draft goes")


def _line(setting: str, note: str) -> str:
    return f"{setting:<{_NOTES_FROM}}  # {note}"


def _as_title(name: str) -> str:
    """The name of a folder as that of a place: hollin_edge becomes Hollin Edge."""
    seen = "".join(" " if letter in "_ " else letter for letter in name if unicodedata.category(letter)[0] != "C")
    words = seen.split()
    return " ".join(word if any(map(str.isupper, word)) else word[0].upper() + word[1:] for word in words) or "New area"


def _quoted(text: str) -> str:
    """Text as YAML takes it whatever signs are in it; bare where it is plain."""
    return text if _PLAIN.fullmatch(text) and yaml.safe_load(text) == text else json.dumps(text, ensure_ascii=False)


def _tiles(patterns: Sequence[str]) -> str:
    return _quoted(patterns[0]) if len(patterns) == 1 else f"[{', '.join(map(_quoted, patterns))}]"


def _on_credit(found: Found) -> Iterator[str]:
    if found.made_by:
        yield f"The tiles say of themselves: {'; '.join(found.made_by)}."
    if found.papers:
        yield f"Beside the tiles lies {', '.join(found.papers)}: the credit may stand there."


MOST_NAMES = 3
"""Names of one kind that are written into the file: more would hide the rest."""


def made_by(headers: Iterable[TileHeader], /) -> tuple[str, ...]:
    """What headers say of the system and the software that made the tiles, each once; nothing where they are silent."""
    said = ((header.system.strip(), header.software.strip()) for header in headers)
    pairs = sorted({pair for pair in said if any(pair)})
    words = [", written with ".join(part for part in pair if part) for pair in pairs]
    return tuple(words[:MOST_NAMES])


def papers_among(names: Iterable[str], /) -> tuple[str, ...]:
    """Those of the files of a folder whose names promise a credit or a licence."""
    found = sorted(name for name in names if any(part in name.lower() for part in PAPER_NAMES))
    return tuple(found[:MOST_NAMES])


def _plain(text: str) -> str:
    """Text that keeps within the line of a comment."""
    return "".join(letter for letter in text if unicodedata.category(letter)[0] not in "CZ" or letter == " ")
