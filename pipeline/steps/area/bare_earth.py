"""The bare earth with lakes flat."""

from __future__ import annotations

from pathlib import Path

from pipeline.files import layers, rasters
from pipeline.steps.area.rasters import DESCRIPTIONS
from pipeline.terrain.surface import level_water

WATER_MAX_OFF_M = 0.5
"""Ground in a lake's outline that lies further from its level is an island or the bank."""


def bare_earth(*, seen: Path, water: Path, out: Path) -> None:
    """The bare earth with level water: as the ground returns show it, but lakes flat."""
    heights, grid = rasters.read_heights(seen)
    bodies = layers.read_features(water)
    bodies = bodies[bodies.geom_type == "Polygon"]
    flat = level_water(heights, grid, list(bodies.geometry), list(bodies["elevation_m"]), max_off_m=WATER_MAX_OFF_M)
    rasters.write_heights(out, flat, grid, description=DESCRIPTIONS["bare_earth"])
