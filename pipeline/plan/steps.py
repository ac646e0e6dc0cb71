"""The steps of the workflow by name, and where each lives."""

from __future__ import annotations

STEPS = {
    "survey": "pipeline.steps.survey:survey",
    "split": "pipeline.steps.tile.split:split",
    "decide": "pipeline.steps.decide:decide",
    "block": "pipeline.steps.block.block:block",
    "label": "pipeline.steps.tile.label:label",
    "ground_report": "pipeline.steps.area.ground_report:ground_report",
    "rasters": "pipeline.steps.area.rasters:rasters_of_area",
    "bare_earth": "pipeline.steps.area.bare_earth:bare_earth",
    "relief": "pipeline.steps.area.relief:relief",
    "landform": "pipeline.steps.field.landform:landform",
    "rock": "pipeline.steps.field.rock:rock",
    "water": "pipeline.steps.area.water:water",
    "vegetation": "pipeline.steps.field.vegetation:vegetation",
    "manmade": "pipeline.steps.field.manmade:manmade",
    "usual_ground": "pipeline.steps.area.usual_ground:usual_ground_of_area",
    "season": "pipeline.steps.area.season:season",
    "rides": "pipeline.steps.area.rides:rides",
    "running": "pipeline.steps.area.running:running",
    "base_level": "pipeline.steps.area.base_level:base_level",
    "borrow": "pipeline.steps.borrow:borrow",
    "compose": "pipeline.steps.area.compose:compose",
    "effort": "pipeline.steps.effort.effort:effort",
    "sheet": "pipeline.steps.area.sheet:sheet",
    "export": "pipeline.steps.exports.export:export",
    "map_tiles": "pipeline.steps.exports.map_tiles:map_tiles",
    "backdrop": "pipeline.steps.exports.backdrop:backdrop",
    "check_list": "pipeline.steps.fieldwork.check_list:check_list",
    "fieldwork_sheet": "pipeline.steps.fieldwork_sheet:fieldwork_sheet",
    "report": "pipeline.steps.report.report:report",
    "manifest": "pipeline.steps.area.manifest:manifest",
}
"""Name of the step -> where it lives. Only the step asked for is imported, with the libraries it needs."""
