"""Step of one section of the ISOM: contours and landforms."""

from __future__ import annotations

from pathlib import Path

from pipeline.files import layers, rasters
from pipeline.files.disk import atomic
from pipeline.landform.contours.base_level import describe_base_levels, propose_base_level
from pipeline.landform.draft import contour_surface, draft_landforms
from pipeline.settings import LandformSettings


def landform(
    *,
    bare_earth: Path,
    ground_support: Path,
    canopy_height: Path,
    out: Path,
    base_level: Path,
    interval_m: float,
    scale: int,
    settings: LandformSettings,
) -> None:
    """Contours and landforms of the area, and what another base level would show."""
    heights, grid = rasters.read_heights(bare_earth)
    support, _ = rasters.read_heights(ground_support)
    canopy, _ = rasters.read_heights(canopy_height)
    found = draft_landforms(heights, support, canopy, grid, interval_m=interval_m, scale=scale, settings=settings)
    layers.write_features(out, found)
    surface, cells = contour_surface(heights, grid, interval_m=interval_m, scale=scale, settings=settings)
    choices = propose_base_level(surface, cells, interval_m=interval_m)
    atomic.write_text(base_level, describe_base_levels(choices, in_use_m=settings.base_level_m))
