"""The area file: what a mapper decides, with every default filled in."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from pipeline.settings.flow import FlowSettings
from pipeline.settings.landform import LandformSettings
from pipeline.settings.manmade import ManmadeSettings
from pipeline.settings.points import PointsSettings, RoofSettings, TerrainSettings, WireSettings
from pipeline.settings.rock import RockSettings
from pipeline.settings.section import Section
from pipeline.settings.sheet import DrawingSettings, SheetSettings
from pipeline.settings.vegetation import CalibrationSettings, SurveySettings, VegetationSettings
from pipeline.settings.water import WaterSettings
from pipeline.settings.written import (
    as_crs,
    as_date,
    as_hours,
    as_interval,
    as_list,
    as_parking,
    as_path,
    as_paths,
    as_sources,
    as_wishes,
    as_words,
)
from pipeline.words.codes import LanguageCode


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
    drawing: DrawingSettings = DrawingSettings()
    sheet: SheetSettings = SheetSettings()


class EffortSettings(Section):
    """How the club works: what turns hours of fieldwork into days, money and weeks."""

    day_h: float = Field(
        6.0,
        gt=0,
        le=16,
        description="Hours of fieldwork in a day, the way there and back not counted. Six is the planning example in print: more are walked, and not seen as well.",
    )
    day_rate: float = Field(
        200.0,
        ge=0,
        le=1_000_000,
        description="Money for a day of day_h hours, for fieldwork, drawing and travel alike. The default is a round figure to be replaced by yours; 0 where nobody is paid.",
    )
    currency: Annotated[str, AfterValidator(as_words)] = Field(
        "EUR", max_length=12, description="What the money is called in print."
    )
    travel_h: float = Field(
        1.0,
        ge=0,
        le=24,
        description="Hours there and back, for each day in the field; half an hour each way by default.",
    )
    mappers: int = Field(1, ge=1, le=100, description="Mappers in the field, each on ground of their own.")
    days_a_week: float = Field(
        2.0, gt=0, le=7, description="Days a week that each of them is in the field; a weekend by default."
    )
    history: Annotated[str | None, AfterValidator(as_path)] = Field(
        None,
        description="A table (CSV) of maps that the club made, to fit the rates to: 'area' (an area file that has a draft, or an outline within this area), 'hours', 'scale', and where known 'drawing_hours' and 'draft' (yes where it was mapped from a draft). Empty: the trade's rates.",
    )


class Source(Section):
    """One file, or several of one kind, to borrow from."""

    file: Annotated[str, AfterValidator(as_path)] = Field(
        description="A GeoPackage, GeoJSON, Shapefile, OpenStreetMap extract (.osm, .osm.gz, .pbf) or GPX, or a pattern "
        "such as walks/*.gpx.",
    )
    credit: str = Field(
        "",
        description="Who made the data and under which licence; printed on the sheet. OpenStreetMap's is known.",
    )
    table: Annotated[str | None, AfterValidator(as_path)] = Field(
        None,
        description="Your own table of what becomes which symbol, like config/borrowed.csv; it is asked first.",
    )
    crs: Annotated[str | None, BeforeValidator(as_crs)] = Field(
        None, description="Coordinate system of a file that does not say its own, e.g. EPSG:25832."
    )


class Borrowing(Section):
    """All sources, in the order of the area file; where two show one thing, the first counts."""

    sources: tuple[Source, ...] = ()


Place = tuple[float, float]
"""Latitude and longitude, degrees of WGS 84."""
Export = Literal["styled", "geojson", "dxf", "shapefile", "gpx", "kmz", "mbtiles", "pmtiles"]
Backdrop = Literal[
    "relief",
    "relief_northwest",
    "relief_northeast",
    "relief_southwest",
    "local_relief",
    "slope",
    "canopy",
    "understorey",
    "intensity",
]


class Area(Section):
    """One area to map: the whole content of the area file, with every default filled in."""

    name: Annotated[str, AfterValidator(as_words)] = Field(
        min_length=1, description="Name of the area, as printed on the sheet."
    )
    tiles: Annotated[tuple[str, ...], BeforeValidator(as_list), AfterValidator(as_paths)] = Field(
        min_length=1,
        description="The lidar tiles: a pattern such as lidar/*.laz, a folder, or a list of them.",
    )
    crs: Annotated[str | None, BeforeValidator(as_crs)] = Field(
        None,
        description="Coordinate system of the tiles, for those that do not say theirs, e.g. EPSG:25832.",
    )
    crs_overrides: bool = Field(
        False,
        description="true: 'crs:' is right and the tiles that say another are wrong. false: such tiles are refused.",
    )
    height_unit: Literal["metre", "foot", "us_survey_foot"] | None = Field(
        None, description="Unit of the elevations, for tiles that do not say theirs."
    )
    height_unit_overrides: bool = Field(
        False,
        description="true: 'height_unit:' is right and the tiles that say another are wrong. false: such tiles are "
        "refused.",
    )
    boundary: Annotated[str | None, AfterValidator(as_path)] = Field(
        None,
        description="Outline of the area, a GeoPackage, GeoJSON or Shapefile. Empty: the extent of the tiles.",
    )
    borrow: Annotated[tuple[Source, ...], BeforeValidator(as_sources)] = Field(
        (),
        description="Maps of other people that the draft takes in, such as an OpenStreetMap extract or walks of yours as "
        "GPX: a file, or a list of them, each with 'credit:'.",
    )
    credit: str = Field(
        "",
        description='Who made the lidar and under which licence, e.g. "Land Survey 2025, CC BY 4.0"; printed on the '
        "sheet. Empty: the survey reminds of it.",
    )
    scale: Literal[15000, 10000, 7500, 5000] = Field(10000, description="Scale of the field sheet, 1 to this number.")
    contour_interval_m: Annotated[float, AfterValidator(as_interval)] = Field(
        5.0,
        description="Height between contours: 5, or 2.5 only where the terrain is flat (ISOM 2017-2, 101).",
        json_schema_extra={"enum": [5, 2.5]},
    )
    climate: Literal["wet", "moderate", "dry"] = Field(
        "moderate",
        description="How much it rains. wet: streams run in every valley, such as on a rainy coast. moderate: small valleys are dry for part of the year. dry: water runs in large valleys only, and after storms.",
    )
    porous_ground: bool | None = Field(
        None,
        description="true: water sinks, such as on lava, limestone or sand; only what has a bed is drawn as a stream. false: it runs off. Empty: the draft decides by how many valleys show a bed, and report/running_water.txt says what it took.",
    )
    language: LanguageCode = Field(
        "en",
        description="Language of the sheet's legend, titles and texts. What the command says and the reports are English.",
    )
    map_date: Annotated[datetime.date, BeforeValidator(as_date)] = Field(
        description="Date the map is for, e.g. 2027-04-10; sets the magnetic declination."
    )
    exports: Annotated[tuple[Export, ...], BeforeValidator(as_wishes)] = Field(
        ("styled",),
        description="What else to write of the draft, into 'exports/': styled (a GeoPackage that a GIS shows as a map), "
        "geojson, dxf (a layer a symbol number), shapefile, gpx (for a watch), kmz, mbtiles and pmtiles (tiles for "
        "phones). none for none.",
    )
    backdrops: Annotated[tuple[Backdrop, ...], BeforeValidator(as_wishes)] = Field(
        (),
        description="Pictures of the ground to draw over, into 'backdrops/', north up and turned to the sheet: relief "
        "(lit from four sides), relief_northwest, relief_northeast, relief_southwest, local_relief, slope, canopy, "
        "understorey, intensity.",
    )
    parking: Annotated[tuple[Place, ...] | str, BeforeValidator(as_parking)] = Field(
        (),
        description="Where the car stands for the work on foot: latitude and longitude, such as 48.2093, 13.4762, a list "
        "of such pairs, or a file of points. Empty: where a road or track reaches the edge of the area, else a corner.",
    )
    outing_h: Annotated[float, BeforeValidator(as_hours)] = Field(
        4.0,
        ge=0.5,
        le=12,
        description="Hours of one outing of the check list, walking and looking together.",
    )
    out: Annotated[str, AfterValidator(as_path)] = Field("out", description="Folder the draft goes to.")
    effort: EffortSettings = Field(
        EffortSettings(), description="How the club works, for 'tussock estimate': hours of a day, day rate, mappers."
    )
    expert: Expert = Expert()

    @model_validator(mode="after")
    def _overrides_with_something(self) -> Self:
        if self.crs_overrides and self.crs is None:
            raise ValueError("'crs_overrides: true' needs the right system beside it, for example 'crs: EPSG:25832'")
        if self.height_unit_overrides and self.height_unit is None:
            raise ValueError(
                "'height_unit_overrides: true' needs the right unit beside it, for example 'height_unit: metre'"
            )
        return self
