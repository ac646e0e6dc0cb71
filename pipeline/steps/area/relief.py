"""Slope and shaded relief of the area."""

from __future__ import annotations

from pathlib import Path

from pipeline.files import rasters
from pipeline.steps.area.rasters import DESCRIPTIONS
from pipeline.terrain.relief import shaded_relief, slope

RIM_M = 4.0
"""Metres of ground around a band that are looked at with it: slope and light look at the next cell only, and cells are
2 m at most."""


def relief(*, bare_earth: Path, slope_out: Path, shaded_relief_out: Path) -> None:
    """Write the slope and the shaded relief of the area, band by band."""
    grid = rasters.read_grid(bare_earth)
    with (
        rasters.writing_heights(slope_out, grid, description=DESCRIPTIONS["slope"]) as put_slope,
        rasters.writing_bytes(shaded_relief_out, grid, description=DESCRIPTIONS["shaded_relief"]) as put_light,
    ):
        for part in grid.bands():
            heights, around = rasters.read_heights(bare_earth, bounds=part.pad(RIM_M).bounds)
            window = around.window_of(part)
            put_slope(slope(heights, around)[window], part)
            put_light(shaded_relief(heights, around)[window], part)
