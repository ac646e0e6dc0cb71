"""The area file and the expert settings: what a mapper decides, what a lidar engineer may tune.

The area file is about fifteen lines of YAML. Everything else has a default here, with its unit in its name and its
reason in its description; `config/settings.md` and `config/area.schema.json` are made from this file
(`make settings`). A file that does not fit is refused with every problem at once: the line, what is allowed, and
the nearest name.
"""

from __future__ import annotations

import datetime
import difflib
import json
import typing
from pathlib import Path
from typing import Annotated, Literal, Self

import pyproj
import yaml
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from pipeline.errors import SettingsError


class Section(BaseModel):
    """A group of settings; unknown names are refused and values never change after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class FlowSettings(Section):
    """How the work is cut up. Results do not depend on it."""

    block_m: float = Field(
        250.0,
        ge=100,
        le=2000,
        description="Side of a working block. Smaller needs less memory, larger repeats less margin.",
    )
    halo_m: float = Field(
        40.0,
        ge=20,
        le=200,
        description="Margin of neighbouring points a block reads; must exceed the reach of all neighbourhood work.",
    )


class PointsSettings(Section):
    """Noise, ground and classes of the returns."""

    engine: Literal["embedded", "pdal"] = Field(
        "embedded", description="Who classifies the ground: Tussock's own filter, or a PDAL command line."
    )
    pdal_command: str = Field("pdal", description="The PDAL command line, a name on PATH or a path.")
    ground_from: Literal["auto", "producer", "own"] = Field(
        "auto",
        description="Keep the producer's ground class, make our own, or decide from measured evidence.",
    )


class TerrainSettings(Section):
    """Bare earth and the grids made from returns."""

    cell_m: float | None = Field(
        None,
        ge=0.25,
        le=5,
        description="Side of a raster cell. Empty: 0.5 from 3 pulses/m2, 1 from 0.5, else 2.",
    )


class LandformSettings(Section):
    """Contours and landforms."""


class RockSettings(Section):
    """Boulders, cliffs and stony ground."""


class WaterSettings(Section):
    """Standing and running water."""


class VegetationSettings(Section):
    """Density of the running layer, runnability bands, open land, rides."""


class ManmadeSettings(Section):
    """Buildings and what else people made."""


class ComposeSettings(Section):
    """What happens where features of different themes meet."""

    min_clipped_part_m: float = Field(
        2.0,
        ge=0,
        description="Shorter crumbs left by clipping at the edge of the area are dropped; they cannot be drawn.",
    )
    min_cut_area_m2: float = Field(
        60.0,
        ge=0,
        description="Smaller rests of vegetation beside water and buildings are dropped (8 m x 8 m, ISOM 401).",
    )
    clear_of_buildings_m: float = Field(
        2.0, ge=0, description="Points this near to a building or in water are parts of it, not features."
    )
    same_thing_m: float = Field(
        3.0,
        ge=0,
        description="Two point symbols this near stand for one thing; the surer stays (a boulder takes 6 m in print).",
    )


class SheetSettings(Section):
    """The printed field sheet."""


class Expert(Section):
    """Settings a mapper need not touch."""

    flow: FlowSettings = FlowSettings()
    points: PointsSettings = PointsSettings()
    terrain: TerrainSettings = TerrainSettings()
    landform: LandformSettings = LandformSettings()
    rock: RockSettings = RockSettings()
    water: WaterSettings = WaterSettings()
    vegetation: VegetationSettings = VegetationSettings()
    manmade: ManmadeSettings = ManmadeSettings()
    compose: ComposeSettings = ComposeSettings()
    sheet: SheetSettings = SheetSettings()


def _as_crs(value: object) -> str | None:
    """A CRS the mapper wrote, checked; refuses what PROJ does not know."""
    if value is None:
        return None
    text = f"EPSG:{value}" if isinstance(value, int) else str(value)
    try:
        pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError as error:
        raise ValueError(f"'{value}' is not a coordinate system PROJ knows; write it like EPSG:25832") from error
    return text


def _as_interval(interval_m: float) -> float:
    if interval_m not in (5.0, 2.5):
        raise ValueError("should be 5 or 2.5")
    return interval_m


def _as_tile_list(value: object) -> object:
    return (value,) if isinstance(value, str) else value


class Area(Section):
    """One area to map: the whole content of the area file, with every default filled in."""

    name: str = Field(min_length=1, description="Name of the area, as printed on the sheet.")
    tiles: Annotated[tuple[str, ...], BeforeValidator(_as_tile_list)] = Field(
        min_length=1,
        description="The lidar tiles: a pattern such as lidar/*.laz, a folder, or a list of them.",
    )
    crs: Annotated[str | None, BeforeValidator(_as_crs)] = Field(
        None,
        description="Coordinate system of the tiles, only where they do not say or say it wrongly, e.g. EPSG:25832.",
    )
    height_unit: Literal["metre", "foot", "us_survey_foot"] | None = Field(
        None, description="Unit of the elevations, only where the tiles do not say or say it wrongly."
    )
    boundary: str | None = Field(
        None,
        description="Outline of the area, a GeoPackage, GeoJSON or Shapefile. Empty: the extent of the tiles.",
    )
    scale: Literal[15000, 10000, 7500, 5000] = Field(10000, description="Scale of the field sheet, 1 to this number.")
    contour_interval_m: Annotated[float, AfterValidator(_as_interval)] = Field(
        5.0,
        description="Height between contours: 5, or 2.5 only where the terrain is flat (ISOM 2017-2, 101).",
        json_schema_extra={"enum": [5, 2.5]},
    )
    map_date: datetime.date = Field(description="Date the map is for, e.g. 2027-04-10; sets the magnetic declination.")
    out: str = Field("out", description="Folder the draft goes to.")
    expert: Expert = Expert()

    @model_validator(mode="after")
    def _date_within_model(self) -> Self:
        # WMM 2025 is valid from 2025.0 to 2030.0 (NOAA/CIRES); its predecessor covers 2020.0 to 2025.0.
        if not 2020 <= self.map_date.year < 2030:
            raise ValueError(f"map_date {self.map_date} is outside the World Magnetic Model (2020 to 2029)")
        return self


# ---------------------------------------------------------------- reading the file


def load_area(path: Path, /) -> Area:
    """The area file, checked and with defaults filled in.

    Raises
    ------
    SettingsError
        Naming the file and, for every problem found, the line, what is wrong, and what is allowed.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise SettingsError(f"{path}: there is no such area file") from error
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read as an area file: {error}") from error
    try:
        node = yaml.compose(text, Loader=yaml.SafeLoader)
        values = yaml.safe_load(text)
    except yaml.YAMLError as error:
        raise SettingsError(f"{path}: not valid YAML: {error}") from error
    if not isinstance(values, dict):
        raise SettingsError(f"{path}: expected lines like 'name: Hollin Edge', found no settings")
    try:
        return Area.model_validate(values)
    except ValidationError as error:
        lines = _lines_of(node)
        problems = [_explain(dict(problem), lines) for problem in error.errors()]
        raise SettingsError(f"{path}:\n" + "\n".join(f"  {problem}" for problem in problems)) from error


def _lines_of(node: yaml.Node | None, prefix: tuple[str, ...] = ()) -> dict[tuple[str, ...], int]:
    """Line (from 1) of every key of a YAML document."""
    lines: dict[tuple[str, ...], int] = {}
    if isinstance(node, yaml.MappingNode):
        for key, value in node.value:
            place = (*prefix, str(key.value))
            lines[place] = key.start_mark.line + 1
            lines |= _lines_of(value, place)
    return lines


def _explain(problem: dict[str, object], lines: dict[tuple[str, ...], int]) -> str:
    """One problem as a sentence: line, setting, what is wrong, what is allowed."""
    place = tuple(str(part) for part in typing.cast("tuple[object, ...]", problem["loc"]) if not isinstance(part, int))
    while place and place not in lines and problem["type"] != "missing":
        place = place[:-1]
    where = f"line {lines[place]}: " if place in lines else ""
    name = ".".join(place)
    if problem["type"] == "missing":
        return f"'{name}' is missing; {_field_description(place)}"
    if problem["type"] == "extra_forbidden":
        allowed = _names_at(place[:-1])
        near = difflib.get_close_matches(place[-1], allowed, n=1, cutoff=0.5)
        hint = f"did you mean '{near[0]}'? " if near else ""
        return f"{where}'{name}' is not a setting; {hint}Allowed here: {', '.join(allowed)}"
    message = str(problem["msg"]).removeprefix("Value error, ").replace("Input should", "should")
    if problem["type"] == "value_error":
        return f"{where}{name + ': ' if name else ''}{message}"
    return f"{where}{name}: {message} (you wrote {problem['input']!r}); {_field_description(place)}"


def _model_at(place: tuple[str, ...]) -> type[Section] | None:
    model: type[Section] = Area
    for part in place:
        field = model.model_fields.get(part)
        kind = field.annotation if field else None
        if not (isinstance(kind, type) and issubclass(kind, Section)):
            return None
        model = kind
    return model


def _names_at(place: tuple[str, ...]) -> list[str]:
    model = _model_at(place)
    return list(model.model_fields) if model else []


def _field_description(place: tuple[str, ...]) -> str:
    model = _model_at(place[:-1])
    field = model.model_fields.get(place[-1]) if model and place else None
    return (field.description or "") if field else ""


def section_text(section: Section, /) -> str:
    """A section as one line of JSON: what a step receives and Snakemake keeps track of."""
    return json.dumps(section.model_dump(mode="json"), sort_keys=True, separators=(",", ":"))
