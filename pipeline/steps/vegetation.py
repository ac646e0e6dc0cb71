"""Step of one section of the ISOM: vegetation."""

from __future__ import annotations

from pathlib import Path

from pipeline.features import join_features
from pipeline.files import blocks as archives
from pipeline.files import layers, rasters
from pipeline.settings import VegetationSettings
from pipeline.vegetation.draft import draft_vegetation


def vegetation(
    *,
    bare_earth: Path,
    canopy_height: Path,
    counts: Path,
    out: Path,
    understorey: Path,
    understorey_error: Path,
    running_speed: Path,
    scale: int,
    settings: VegetationSettings,
) -> None:
    """Open land, runnability and rides of the area, and the two rasters behind them."""
    heights, grid = rasters.read_heights(bare_earth)
    canopy, _ = rasters.read_heights(canopy_height)
    drawn = draft_vegetation(archives.read_sums(counts), heights, canopy, grid, scale=scale, settings=settings)
    layers.write_features(out, join_features([drawn.features, drawn.not_seen], grid.crs))
    rasters.write_heights(
        understorey_error, drawn.understorey_error, grid, description="standard error of the plant-area density, m2/m3"
    )
    rasters.write_heights(
        understorey, drawn.understorey, grid, description="plant-area density of the running layer, m2/m3"
    )
    rasters.write_heights(
        running_speed, drawn.running_speed, grid, description="expected share of free running speed, 0 to 1"
    )
