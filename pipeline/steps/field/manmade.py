"""Step of ISOM section 3.5: what people made."""

from __future__ import annotations

from pathlib import Path

from pipeline.features import no_features
from pipeline.files import grid_files, layers
from pipeline.manmade.draft import COUNTS, MARGIN_M, draft_manmade
from pipeline.outlines.cutting import cut_to_core
from pipeline.settings import ManmadeSettings
from pipeline.steps.field.reading import field_of, read_rasters


def manmade(
    *,
    bare_earth: Path,
    canopy_height: Path,
    counts: Path,
    water: Path,
    core: list[float],
    out: Path,
    settings: ManmadeSettings,
) -> None:
    """Write the buildings, ways, power lines, walls, fences and hedges of a field."""
    field = field_of(core)
    (heights, canopy), grid = read_rasters((bare_earth, canopy_height), field, margin_m=MARGIN_M)
    if not grid.rows:
        layers.write_features(out, no_features(grid.crs))
        return
    sums = grid_files.read_sums(counts, COUNTS, bounds=grid.bounds)
    found = draft_manmade(sums, heights, canopy, grid, settings=settings, water=layers.read_features(water))
    layers.write_features(out, cut_to_core(found, field.core))
