"""Step of one section of the ISOM: vegetation."""

from __future__ import annotations

from pathlib import Path

from pipeline.draft.joining import cut_to_core
from pipeline.features import join_features, no_features
from pipeline.files import arrays, layers
from pipeline.settings import VegetationSettings
from pipeline.steps.field.reading import field_of, read_rasters
from pipeline.terrain.profile import PROFILE_NAMES
from pipeline.vegetation.draft import draft_vegetation

MARGIN_M = 200.0
"""Metres around a field that are drawn with it: more than anything in vegetation looks at around itself."""


def vegetation(
    *,
    bare_earth: Path,
    canopy_height: Path,
    counts: Path,
    core: list[float],
    out: Path,
    running: Path,
    settings: VegetationSettings,
) -> None:
    """Open land, runnability and rides of a field, and the grids behind them (`pipeline.steps.area.running`)."""
    field = field_of(core)
    (heights, canopy), grid = read_rasters((bare_earth, canopy_height), field, margin_m=MARGIN_M)
    own = grid.within(field.core)
    if not own.rows:
        layers.write_features(out, no_features(grid.crs))
        arrays.write_grids(running, {}, own)
        return
    sums = arrays.read_sums(counts, PROFILE_NAMES, bounds=grid.bounds)
    drawn = draft_vegetation(sums, heights, canopy, grid, settings=settings)
    layers.write_features(out, cut_to_core(join_features([drawn.features, drawn.not_seen], grid.crs), field.core))
    window = grid.window_of(own)
    made = {name: getattr(drawn, name)[window] for name in ("understorey", "understorey_error", "running_speed")}
    arrays.write_grids(running, made, own)
