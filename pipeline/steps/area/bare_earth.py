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
    grid = rasters.read_grid(seen)
    bodies = layers.read_features(water)
    bodies = bodies[bodies.geom_type == "Polygon"]
    with rasters.writing_heights(out, grid, description=DESCRIPTIONS["bare_earth"]) as put:
        for part in grid.bands():
            heights, _ = rasters.read_heights(seen, bounds=part.bounds)
            west, south, east, north = part.bounds
            near = bodies.cx[west:east, south:north]
            shapes, levels_m = list(near.geometry), list(near["elevation_m"])
            put(level_water(heights, part, shapes, levels_m, max_off_m=WATER_MAX_OFF_M), part)
