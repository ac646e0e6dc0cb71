"""Step of one section of the ISOM: contours and landforms."""

from __future__ import annotations

from pathlib import Path

from pipeline.files import layers, rasters
from pipeline.landform.draft import draft_landforms
from pipeline.settings import LandformSettings


def landform(
    *,
    bare_earth: Path,
    ground_support: Path,
    canopy_height: Path,
    out: Path,
    interval_m: float,
    scale: int,
    settings: LandformSettings,
) -> None:
    """Contours and landforms of the area."""
    heights, grid = rasters.read_heights(bare_earth)
    support, _ = rasters.read_heights(ground_support)
    canopy, _ = rasters.read_heights(canopy_height)
    found = draft_landforms(heights, support, canopy, grid, interval_m=interval_m, scale=scale, settings=settings)
    layers.write_features(out, found)
