"""The area file and the expert settings: what a mapper decides, what a lidar engineer may tune.

The area file is about fifteen lines of YAML. Everything else has a default here, with its unit in its name, its reason
in its description, and what it does to a draft in `topics`; `config/settings.md` and `config/area.schema.json` are made
from these modules (`make settings`).
"""

from __future__ import annotations

from pipeline.settings.area import Area, Borrowing, EffortSettings, Expert, Source
from pipeline.settings.flow import Flow, FlowSettings
from pipeline.settings.landform import LandformSettings
from pipeline.settings.manmade import ManmadeSettings
from pipeline.settings.points import PointsSettings, RoofSettings, TerrainSettings, WireSettings
from pipeline.settings.reading import load_area
from pipeline.settings.rock import RockSettings
from pipeline.settings.section import Section, section_text
from pipeline.settings.sheet import DrawingSettings, SheetSettings
from pipeline.settings.vegetation import CalibrationSettings, LayerSettings, SurveySettings, VegetationSettings
from pipeline.settings.water import WaterSettings

__all__ = [
    "Area",
    "Borrowing",
    "CalibrationSettings",
    "DrawingSettings",
    "EffortSettings",
    "Expert",
    "Flow",
    "FlowSettings",
    "LandformSettings",
    "LayerSettings",
    "ManmadeSettings",
    "PointsSettings",
    "RockSettings",
    "RoofSettings",
    "Section",
    "SheetSettings",
    "Source",
    "SurveySettings",
    "TerrainSettings",
    "VegetationSettings",
    "WaterSettings",
    "WireSettings",
    "load_area",
    "section_text",
]
