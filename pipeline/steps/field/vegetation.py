"""Step of one section of the ISOM: vegetation."""

from __future__ import annotations

from pathlib import Path
from typing import cast

from pipeline.features import no_features
from pipeline.files import arrays, grid_files, layers
from pipeline.settings import VegetationSettings
from pipeline.steps.field.reading import field_of, read_rasters
from pipeline.terrain.profile import PROFILE_NAMES
from pipeline.vegetation.draft import MARGIN_M, draft_field


def vegetation(
    *,
    bare_earth: Path,
    canopy_height: Path,
    counts: Path,
    decided: Path,
    core: list[float],
    out: Path,
    candidates: Path,
    running: Path,
    settings: VegetationSettings,
) -> None:
    """Open land, runnability, trees and boundaries of a field, and the grids behind them (see the step `running`).

    The places through which rides may run are handed to the step `rides`.
    """
    field = field_of(core)
    (heights, canopy), grid = read_rasters((bare_earth, canopy_height), field, margin_m=MARGIN_M)
    own = grid.within(field.core)
    if not own.rows:
        layers.write_features(out, no_features(grid.crs))
        arrays.write_arrays(candidates, {})
        grid_files.write_grids(running, {}, own)
        return
    drawn = draft_field(
        grid_files.read_sums(counts, PROFILE_NAMES, bounds=grid.bounds),
        heights,
        canopy,
        grid,
        settings=settings,
        core=field.core,
        pulses_per_m2=cast("float", arrays.read_json(decided)["pulses_per_m2"]),
    )
    layers.write_features(out, drawn.features)
    arrays.write_arrays(candidates, vars(drawn.candidates))
    window = grid.window_of(own)
    made = {name: getattr(drawn, name)[window] for name in ("understorey", "understorey_error", "running_speed")}
    grid_files.write_grids(running, made, own)
