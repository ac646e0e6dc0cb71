"""Step of one section of the ISOM: contours and landforms."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

from pipeline.features import no_features
from pipeline.files import arrays, layers
from pipeline.files.disk.kept import keep, mark_of_arrays, put_back
from pipeline.landform.contours.base_level import count_base_levels
from pipeline.landform.draft import MARGIN_M, contour_surface, draft_landforms
from pipeline.settings import LandformSettings, section_text
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
    kept: Path | None = None,
    code: str = "",
) -> None:
    """Contours and landforms of a field, and what each base level would show there.

    Where it reads what it read the last time, with the same settings and code, its results are put back from `kept`.
    """
    field = field_of(core)
    paths = (bare_earth, ground_support, canopy_height)
    (heights, support, canopy), grid = read_rasters(paths, field, margin_m=MARGIN_M)
    mark = mark_of_arrays(
        repr((core, grid, interval_m, scale, section_text(settings), code)), (heights, support, canopy)
    )
    if put_back(kept, mark, (out, base_level)):
        return
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
    keep(kept, mark, (out, base_level))
