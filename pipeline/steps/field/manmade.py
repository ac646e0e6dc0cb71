"""Step of ISOM section 3.5: what people made."""

from __future__ import annotations

from pathlib import Path

from pipeline.features import no_features
from pipeline.files import grid_files, layers
from pipeline.files.disk.kept import keep, mark_of_arrays, put_back
from pipeline.manmade.draft import COUNTS, MARGIN_M, draft_manmade
from pipeline.outlines.cutting import cut_to_core
from pipeline.settings import ManmadeSettings, section_text
from pipeline.steps.field.reading import field_of, read_rasters, table_text

WATER_AROUND_M = 20.0
"""How far beyond a field and its margin watercourses are read, in metres: more than the width of a bed in which no
track is drawn (`pipeline.manmade.tracks`). Our choice."""


def manmade(
    *,
    bare_earth: Path,
    canopy_height: Path,
    counts: Path,
    water: Path,
    core: list[float],
    out: Path,
    settings: ManmadeSettings,
    kept: Path | None = None,
    code: str = "",
) -> None:
    """Write the buildings, ways, power lines, walls, fences and hedges of a field.

    Where it reads what it read the last time, with the same settings and code, its results are put back from `kept`.
    """
    field = field_of(core)
    (heights, canopy), grid = read_rasters((bare_earth, canopy_height), field, margin_m=MARGIN_M)
    if not grid.rows:
        layers.write_features(out, no_features(grid.crs))
        return
    sums = grid_files.read_sums(counts, COUNTS, bounds=grid.bounds)
    west, south, east, north = grid.pad(WATER_AROUND_M).bounds
    near = layers.read_features(water).cx[west:east, south:north]
    told = repr((core, grid, section_text(settings), code, table_text(near)))
    mark = mark_of_arrays(told, (heights, canopy, *(sums[name] for name in COUNTS)))
    if put_back(kept, mark, (out,)):
        return
    found = draft_manmade(sums, heights, canopy, grid, settings=settings, water=near)
    layers.write_features(out, cut_to_core(found, field.core))
    keep(kept, mark, (out,))
