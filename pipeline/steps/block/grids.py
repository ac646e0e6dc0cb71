"""Every raster of one block."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pipeline.files import arrays
from pipeline.lattice.blocks import block_named
from pipeline.lattice.grid import Grid, Heights
from pipeline.returns.asprs import GROUND, WATER
from pipeline.settings import Flow, LayerSettings, TerrainSettings
from pipeline.steps.block.reading import cell_side, surroundings
from pipeline.terrain.counts import class_counts, lone_ground
from pipeline.terrain.profile import profile_grids
from pipeline.terrain.surface import canopy_height, ground_support, lowest_last, surface_from_ground


def grids(
    *,
    returns: list[Path],
    out: Path,
    block: str,
    crs: str,
    decided: Path,
    flow: Flow,
    terrain: TerrainSettings,
    layers: LayerSettings,
) -> None:
    """Write every raster of one block: bare earth, its support, canopy, and counts of returns that may be added up."""
    cloud, asprs_class, above_m = surroundings(returns, block_named(block, flow.block_m), flow)
    core = Grid.covering(block_named(block, flow.block_m).bounds, cell_m=cell_side(decided), crs=crs)
    if not cloud.within(block_named(block, flow.block_m).bounds).any():
        arrays.write_grids(out, {}, core)
        return
    earth = cloud.take(np.isin(asprs_class, (GROUND, WATER)))
    made: dict[str, Heights] = {
        "bare_earth": surface_from_ground(earth.enh, core, settings=terrain),
        "ground_support": ground_support(earth.en, core),
        "canopy_height": canopy_height(cloud, asprs_class, above_m, core),
        "lowest_last": lowest_last(cloud, asprs_class, core),
    }
    made |= profile_grids(
        cloud,
        asprs_class,
        above_m,
        core,
        running_bottom_m=layers.running_bottom_m,
        visibility_bottom_m=layers.visibility_bottom_m,
        running_top_m=layers.running_top_m,
    )
    made |= class_counts(asprs_class, cloud.east, cloud.north, cloud.is_last, core)
    made |= lone_ground(cloud, asprs_class, above_m, core)
    arrays.write_grids(out, made, core)
