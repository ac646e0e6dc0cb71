"""Slope and shaded relief of the area."""

from __future__ import annotations

from pathlib import Path

from pipeline.files import rasters
from pipeline.steps.area.rasters import DESCRIPTIONS
from pipeline.terrain.relief import shaded_relief, slope


def relief(*, bare_earth: Path, slope_out: Path, shaded_relief_out: Path) -> None:
    """Write the slope and the shaded relief of the area."""
    heights, grid = rasters.read_heights(bare_earth)
    rasters.write_heights(slope_out, slope(heights, grid), grid, description=DESCRIPTIONS["slope"])
    shade = shaded_relief(heights, grid)
    with rasters.writing_bytes(shaded_relief_out, grid, description=DESCRIPTIONS["shaded_relief"]) as put:
        put(shade, grid)
