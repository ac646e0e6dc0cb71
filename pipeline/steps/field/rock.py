"""Step of one section of the ISOM: rock."""

from __future__ import annotations

from pathlib import Path

from pipeline.features import join_features, no_features
from pipeline.files import arrays, grid_files, layers
from pipeline.files.disk.kept import keep, mark_of_arrays, put_back
from pipeline.rock.draft import MARGIN_M, draft_rock_of_field
from pipeline.rock.ground.brightness import COUNTS, ground_brightness
from pipeline.settings import RockSettings, section_text
from pipeline.steps.area.usual_ground import usual_of
from pipeline.steps.field.reading import field_of, read_rasters, table_text


def rock(
    *,
    boulders: Path,
    blocks: list[str],
    bare_earth: Path,
    ground_support: Path,
    canopy_height: Path,
    counts: Path,
    usual: Path,
    core: list[float],
    out: Path,
    settings: RockSettings,
    kept: Path | None = None,
    code: str = "",
) -> None:
    """Boulders, cliffs, stony ground and bare rock of a field.

    Where it reads what it read the last time, with the same settings and code, its results are put back from `kept`.
    """
    field = field_of(core)
    paths = (bare_earth, ground_support, canopy_height)
    (heights, support, canopy), grid = read_rasters(paths, field, margin_m=MARGIN_M)
    if not grid.rows:
        layers.write_features(out, no_features(grid.crs))
        return
    west, south, east, north = grid.bounds
    candidates = join_features([layers.read_features(boulders / f"{name}.gpkg") for name in blocks], grid.crs)
    candidates = candidates.cx[west:east, south:north]
    names = (*COUNTS, "lowest_last")
    sums = grid_files.read_sums(counts, names, bounds=grid.bounds)
    told_of_area = arrays.read_json(usual)
    told = repr((core, grid, section_text(settings), code, told_of_area, table_text(candidates)))
    mark = mark_of_arrays(told, (heights, support, canopy, *(sums[name] for name in names)))
    if put_back(kept, mark, (out,)):
        return
    found = draft_rock_of_field(
        candidates,
        heights,
        support,
        canopy,
        grid,
        core=field.core,
        brightness=ground_brightness(sums, grid, usual=usual_of(told_of_area)),
        lowest=sums["lowest_last"],
        settings=settings,
    )
    layers.write_features(out, found)
    keep(kept, mark, (out,))
