"""Step of one section of the ISOM: rock."""

from __future__ import annotations

from pathlib import Path

from pipeline.draft.joining import cut_to_core
from pipeline.features import join_features, no_features
from pipeline.files import arrays, layers
from pipeline.rock.draft import MARGIN_M, draft_rock
from pipeline.rock.ground.brightness import COUNTS, ground_brightness
from pipeline.settings import RockSettings
from pipeline.steps.field.reading import field_of, read_rasters


def rock(
    *,
    boulders: Path,
    blocks: list[str],
    bare_earth: Path,
    ground_support: Path,
    canopy_height: Path,
    counts: Path,
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
    candidates = join_features([layers.read_features(boulders / f"{name}.gpkg") for name in blocks], grid.crs)
    sums = arrays.read_sums(counts, (*COUNTS, "lowest_last"), bounds=grid.bounds)
    found = draft_rock(
        candidates,
        heights,
        support,
        canopy,
        grid,
        brightness=ground_brightness(sums, grid),
        lowest=sums["lowest_last"],
        settings=settings,
    )
    layers.write_features(out, cut_to_core(found, field.core))
