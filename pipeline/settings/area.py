"""The area file: what a mapper decides, with every default filled in."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal, Self

import pyproj
from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from pipeline.settings.flow import FlowSettings
from pipeline.settings.landform import LandformSettings
from pipeline.settings.manmade import ManmadeSettings
from pipeline.settings.points import PointsSettings, RoofSettings, TerrainSettings, WireSettings
from pipeline.settings.rock import RockSettings
from pipeline.settings.section import Section
from pipeline.settings.sheet import SheetSettings
from pipeline.settings.survey import SurveySettings
from pipeline.settings.vegetation import CalibrationSettings, VegetationSettings
from pipeline.settings.water import WaterSettings


class Expert(Section):
    """Settings a mapper need not touch."""

    flow: FlowSettings = FlowSettings()
    survey: SurveySettings = SurveySettings()
    points: PointsSettings = PointsSettings()
    roofs: RoofSettings = RoofSettings()
    wires: WireSettings = WireSettings()
    terrain: TerrainSettings = TerrainSettings()
    landform: LandformSettings = LandformSettings()
    rock: RockSettings = RockSettings()
    water: WaterSettings = WaterSettings()
    vegetation: VegetationSettings = VegetationSettings()
    calibration: CalibrationSettings = CalibrationSettings()
    manmade: ManmadeSettings = ManmadeSettings()
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
