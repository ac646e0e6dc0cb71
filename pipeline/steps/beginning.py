"""A survey of tiles for which there is no area file yet, and the area file that it offers."""

from __future__ import annotations

import datetime
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.advice.offered import Found, area_text, interval_for, made_by, papers_among
from pipeline.errors import InputError, NoCrsError, SettingsError
from pipeline.files.disk.atomic import write_new_text
from pipeline.intake.find_tiles import LIDAR_ENDINGS, find_tiles
from pipeline.plan.plan import Plan, make_plan, plan_of
from pipeline.settings import Area, load_area
from pipeline.shipped import SCHEMA

if TYPE_CHECKING:
    from pipeline.survey.record import Survey

AREA_FILE = "area.yaml"
"""Name of the area file that is offered."""
NAME_THEM = "Name a folder with .las or .laz tiles, a pattern such as 'lidar/*.laz', or an area file."
_WILD = set("*?[")  # characters that make a name a pattern


@dataclass(frozen=True)
class Tiles:
    """Tiles as a mapper named them.

    Attributes
    ----------
    folder : the folder that an area file for them belongs in, whole path
    patterns : what `tiles:` would say there
    """

    folder: Path
    patterns: tuple[str, ...]

    @property
    def area_file(self) -> Path:
        """Where an area file for them belongs."""
        return self.folder / AREA_FILE


def area_file_among(words: Sequence[str], /) -> Path | None:
    """The area file that these words of the command line stand for, or None where they name tiles.

    A folder stands for the area file in it, if that is one.

    Raises
    ------
    InputError
        If area files stand beside other words.
    """
    files = [word for word in words if _is_area_file(Path(word))]
    if files and len(words) > 1:
        raise InputError(f"{files[0]} is an area file: survey it by itself. {NAME_THEM}")
    if files:
        return Path(files[0])
    within = Path(words[0]) / AREA_FILE
    if len(words) == 1 and within.is_file() and not problem_with(within):
        return within
    return None


def area_file_of(path: Path, /) -> Path:
    """The area file that a word means where one is needed: itself, or the one in a folder.

    Raises
    ------
    InputError
        If the folder holds none; says how to get one.
    """
    if not path.is_dir():
        return path
    if not (path / AREA_FILE).is_file():
        raise InputError(f"{path} holds no {AREA_FILE}; 'tussock survey {path}' surveys its tiles and offers one")
    return path / AREA_FILE


def out_of(area_file: Path, /) -> Path:
    """The folder that an area file says its draft goes to.

    Raises
    ------
    SettingsError
        If the area file cannot be used.
    """
    return (area_file.parent / load_area(area_file).out).resolve()


def _is_area_file(path: Path) -> bool:
    """Whether a word can only mean an area file: by its ending, or as a file that holds no lidar."""
    ending = path.suffix.lower()
    return ending in (".yaml", ".yml") or (path.is_file() and ending not in LIDAR_ENDINGS)


def problem_with(path: Path, /) -> str:
    """Why a file is no area file that can be used; "" where it is one."""
    try:
        load_area(path)
    except SettingsError as error:
        return str(error)
    return ""


def tiles_named(words: Sequence[str], /) -> Tiles:
    """Tiles that the words of a command line stand for: folders, patterns or files, from the current folder.

    A folder without tiles of its own stands for those in all folders below it.
    """
    starts = [_start(Path(word).expanduser()) for word in words]
    folder = Path(os.path.commonpath([start.resolve() for start in starts]))
    return Tiles(folder, tuple(_pattern(Path(word).expanduser(), folder) for word in words))


def _start(path: Path) -> Path:
    """The folder in which a folder, pattern or file begins to be looked for."""
    if path.is_dir():
        return path
    plain = [part for part in path.parents if not _WILD & set(str(part))]
    return plain[0] if plain else Path()


def _pattern(path: Path, folder: Path) -> str:
    """What `tiles:` of an area file in `folder` would say."""
    start = _start(path)
    rest = path.relative_to(start) if start != path else Path()
    said = (start.resolve() / rest).relative_to(folder)
    has_tiles_below = path.is_dir() and not _tiles_in(path, "*") and _tiles_in(path, "**/*")
    return (said / "**" / "*" if has_tiles_below else said).as_posix()


def _tiles_in(folder: Path, pattern: str) -> bool:
    return any(one.suffix.lower() in LIDAR_ENDINGS for one in folder.glob(pattern))


def survey_tiles_named(tiles: Tiles, /, *, today: datetime.date) -> tuple[Survey, str]:
    """The survey of tiles without an area file, and what to say of the area file that is offered.

    Raises
    ------
    InputError
        If the tiles cannot be surveyed; where they only lack a coordinate system, an area file to write it into is
        offered all the same, and the message says where.
    """
    from pipeline.steps.survey import survey_plan  # its libraries take long to import, for who has an area file

    area = Area.model_validate({"name": "New area", "tiles": tiles.patterns, "map_date": today})
    try:
        plan = plan_of(area, tiles.area_file, advice=NAME_THEM)
    except NoCrsError as error:
        found = Found(tiles.folder.name, tiles.patterns, papers=_papers(find_tiles(tiles.patterns, tiles.folder)))
        raise NoCrsError(f"{error}\n{offer(tiles, area_text(found, today=today))}") from error
    survey = survey_plan(plan)
    interval_m, why = interval_for(survey.usual_slope)
    proposed = f"Contours every {interval_m:g} m would suit ({why})."
    return survey, f"{proposed}\n{offer(tiles, area_text(_found(tiles, plan, survey), today=today))}"


def _found(tiles: Tiles, plan: Plan, survey: Survey) -> Found:
    headers, working = plan.intake.headers, plan.intake.working
    return Found(
        folder_name=tiles.folder.name,
        tiles=tiles.patterns,
        crs_name=working.source_name,
        crs_code=working.source_crs if working.source_crs.startswith("EPSG:") else "",
        says_height_unit=all(header.crs.height_unit_m is not None for header in headers),
        usual_slope=survey.usual_slope,
        made_by=made_by(headers),
        papers=_papers([header.path for header in headers]),
    )


def _papers(paths: Sequence[Path]) -> tuple[str, ...]:
    """Files beside the tiles whose names promise a credit."""
    folders = sorted({path.parent for path in paths})
    return papers_among(one.name for folder in folders for one in folder.iterdir() if one.is_file())


def offer(tiles: Tiles, text: str, /) -> str:
    """Write the area file where there is none; what to tell the mapper of it."""
    path = tiles.area_file
    try:
        is_new = write_new_text(path, text)
    except InputError as error:
        return f"An area file to start from could not be written ({error}). Save this as {AREA_FILE}:\n\n{text}"
    if is_new:
        for_editors = f" ({SCHEMA.name} beside it is for editors)" if put_schema_beside(path) else ""
        return (
            f"An area file to start from is now in {path}{for_editors}.\n"
            f"Look through its lines, name who made the lidar, then:\n  tussock draft {path}"
        )
    why = problem_with(path)
    said = f"{path} was there already and was left as it is; this survey looked at the tiles without it."
    return f"{said}\nIt cannot be used as an area file: {why}" if why else said


def put_schema_beside(area_file: Path, /) -> bool:
    """Put the schema beside an area file that names it and has it not, as in a copy; whether it was put there.

    Editors read it to complete the file and to underline what is wrong. Where it cannot be written nothing is lost.
    """
    schema = area_file.with_name(SCHEMA.name)
    try:
        is_named = f"$schema={schema.name}" in area_file.read_text(encoding="utf-8").partition("\n")[0]
        return is_named and write_new_text(schema, SCHEMA.read_text(encoding="utf-8"))
    except (InputError, OSError, UnicodeDecodeError):
        return False


def plan_of_area_file(path: Path, /) -> Plan:
    """The plan of an area file, with the schema put beside it."""
    plan = make_plan(path)
    put_schema_beside(plan.area_path)
    return plan
