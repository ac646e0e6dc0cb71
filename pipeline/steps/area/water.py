"""Step of ISOM section 3.3: water."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from pipeline.files import grid_files, layers, rasters
from pipeline.files.disk import atomic
from pipeline.files.disk.pieces import pieces_of
from pipeline.settings import WaterSettings
from pipeline.terrain.profile import AIMED
from pipeline.water.draft import draft_water
from pipeline.water.running.porous import describe_floors
from pipeline.water.sight.ground import Ground

POROUS = {"yes": True, "no": False, "ask": None}
"""What the area file may say about the ground, as the rule passes it on."""


def water(
    *,
    bare_earth: Path,
    ground_support: Path,
    canopy_height: Path,
    counts: Path,
    out: Path,
    report: Path,
    scale: int,
    climate: str,
    porous: str,
    settings: WaterSettings,
    kept: Path | None = None,
    code: str = "",
) -> None:
    """Write the water of the area, its marshes and springs, and whether its ground looks porous.

    Cross-sections of channels that run as they did the last time, over ground as it was, are found again in `kept`.
    """
    ground = Ground(
        rasters.read_grid(bare_earth),
        bare_earth=partial(rasters.read_window, bare_earth),
        water_returns=partial(grid_files.read_window, counts, "water_returns"),
        last_returns=partial(grid_files.read_window, counts, "last_returns"),
        aimed_pulses=partial(grid_files.read_window, counts, AIMED),
        ground_support=partial(rasters.read_window, ground_support),
        canopy=partial(rasters.read_window, canopy_height),
        lone_returns=partial(grid_files.read_window, counts, "lone_ground_returns"),
        lone_shine=partial(grid_files.read_window, counts, "lone_ground_intensity_sum"),
    )
    with pieces_of(kept, repr((ground.grid.crs, ground.grid.cell_m, code))) as remembered:
        draft = draft_water(
            ground,
            scale=scale,
            settings=settings,
            climate=climate,
            is_porous=POROUS[porous],
            remembered=remembered,
        )
    layers.write_features(out, draft.features)
    atomic.write_text(report, describe_floors(draft.floors))
