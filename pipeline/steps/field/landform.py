"""Step of one section of the ISOM: contours and landforms."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

from pipeline.features import no_features
from pipeline.files import arrays, layers
from pipeline.landform.contours.base_level import count_base_levels
from pipeline.landform.draft import MARGIN_M, contour_surface, draft_landforms
from pipeline.settings import LandformSettings
from pipeline.steps.field.reading import field_of, read_rasters


def landform(
    *,
    bare_earth: Path,
    ground_support: Path,
    canopy_height: Path,
    core: list[float],
    out: Path,
    base_level: Path,
    interval_m: float,
    scale: int,
    settings: LandformSettings,
) -> None:
    """Contours and landforms of a field, and what each base level would show there."""
    field = field_of(core)
    paths = (bare_earth, ground_support, canopy_height)
    (heights, support, canopy), grid = read_rasters(paths, field, margin_m=MARGIN_M)
    if not grid.rows:
        layers.write_features(out, no_features(grid.crs))
        arrays.write_json(base_level, {"counts": []})
        return
    surface, cells = contour_surface(heights, grid, interval_m=interval_m, scale=scale, settings=settings)
    found = draft_landforms(
        heights,
        support,
        canopy,
        grid,
        interval_m=interval_m,
        scale=scale,
        settings=settings,
        core=field.core,
        traced=(surface, cells),
    )
    layers.write_features(out, found)
    counts = count_base_levels(surface, cells, interval_m=interval_m, core=field.core)
    arrays.write_json(base_level, {"counts": [asdict(count) for count in counts]})
