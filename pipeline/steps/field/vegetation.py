"""Step of one section of the ISOM: vegetation."""

from __future__ import annotations

from pathlib import Path
from typing import cast

from pipeline.features import no_features
from pipeline.files import arrays, grid_files, layers
from pipeline.files.disk.kept import keep, mark_of_arrays, put_back
from pipeline.settings import VegetationSettings, section_text
from pipeline.steps.field.reading import field_of, read_rasters
from pipeline.terrain.profile import PROFILE_NAMES
from pipeline.vegetation.areas.open_land import void_radius_m
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
    kept: Path | None = None,
    code: str = "",
) -> None:
    """Open land, runnability, trees and boundaries of a field, and the grids behind them (see the step `running`).

    The places through which rides may run are handed to the step `rides`. Where it reads what it read the
    last time, with the same settings and code, its results are put back from `kept`.
    """
    field = field_of(core)
    (heights, canopy), grid = read_rasters((bare_earth, canopy_height), field, margin_m=MARGIN_M)
    own = grid.within(field.core)
    if not own.rows:
        layers.write_features(out, no_features(grid.crs))
        arrays.write_arrays(candidates, {})
        grid_files.write_grids(running, {}, own)
        return
    sums = grid_files.read_sums(counts, PROFILE_NAMES, bounds=grid.bounds)
    pulses_per_m2 = cast("float", arrays.read_json(decided)["pulses_per_m2"])
    told = repr((core, grid, section_text(settings), code, void_radius_m(pulses_per_m2)))
    mark, made = (
        mark_of_arrays(told, (heights, canopy, *(sums[name] for name in PROFILE_NAMES))),
        (out, candidates, running),
    )
    if put_back(kept, mark, made):
        return
    drawn = draft_field(
        sums,
        heights,
        canopy,
        grid,
        settings=settings,
        core=field.core,
        pulses_per_m2=pulses_per_m2,
    )
    layers.write_features(out, drawn.features)
    arrays.write_arrays(candidates, vars(drawn.candidates))
    window = grid.window_of(own)
    grids = {name: getattr(drawn, name)[window] for name in ("understorey", "understorey_error", "running_speed")}
    grid_files.write_grids(running, grids, own)
    keep(kept, mark, made)
