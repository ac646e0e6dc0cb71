"""Step of one section of the ISOM: rock."""

from __future__ import annotations

from pathlib import Path

from pipeline.features import join_features, no_features
from pipeline.files import arrays, grid_files, layers
from pipeline.rock.draft import MARGIN_M, draft_rock_of_field
from pipeline.rock.ground.brightness import COUNTS, ground_brightness
from pipeline.settings import RockSettings
from pipeline.steps.area.usual_ground import usual_of
from pipeline.steps.field.reading import field_of, read_rasters


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
) -> None:
    """Boulders, cliffs, stony ground and bare rock of a field."""
    field = field_of(core)
    paths = (bare_earth, ground_support, canopy_height)
    (heights, support, canopy), grid = read_rasters(paths, field, margin_m=MARGIN_M)
    if not grid.rows:
        layers.write_features(out, no_features(grid.crs))
        return
    west, south, east, north = grid.bounds
    candidates = join_features([layers.read_features(boulders / f"{name}.gpkg") for name in blocks], grid.crs)
    sums = grid_files.read_sums(counts, (*COUNTS, "lowest_last"), bounds=grid.bounds)
    found = draft_rock_of_field(
        candidates.cx[west:east, south:north],
        heights,
        support,
        canopy,
        grid,
        core=field.core,
        brightness=ground_brightness(sums, grid, usual=usual_of(arrays.read_json(usual))),
        lowest=sums["lowest_last"],
        settings=settings,
    )
    layers.write_features(out, found)
