"""The bare earth with standing water made flat."""

from __future__ import annotations

from pathlib import Path

from pipeline.files import layers, rasters
from pipeline.steps.area.rasters import DESCRIPTIONS
from pipeline.terrain.surface import level_water

WATER_MAX_OFF_M = 0.5
"""Ground inside the outline of standing water that lies further than this from its level, in metres, is an island or
the bank and keeps its height. Our choice."""


def bare_earth(*, seen: Path, water: Path, out: Path) -> None:
    """Write the bare earth as the ground returns show it, but flat where there is standing water of known level."""
    heights, grid = rasters.read_heights(seen)
    bodies = layers.read_features(water)
    bodies = bodies[bodies.geom_type == "Polygon"]
    flat = level_water(heights, grid, list(bodies.geometry), list(bodies["elevation_m"]), max_off_m=WATER_MAX_OFF_M)
    rasters.write_heights(out, flat, grid, description=DESCRIPTIONS["bare_earth"])
