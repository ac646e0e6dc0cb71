"""Boulder candidates of one block."""

from __future__ import annotations

from pathlib import Path

from pipeline.features import no_features
from pipeline.files import layers
from pipeline.lattice.blocks import block_named
from pipeline.lattice.grid import Grid
from pipeline.rock.boulders.boulders import find_boulders
from pipeline.settings import Flow
from pipeline.steps.block.reading import cell_side, surroundings


def boulders(
    *,
    returns: list[Path],
    out: Path,
    block: str,
    crs: str,
    decided: Path,
    flow: Flow,
) -> None:
    """Boulder candidates of one block."""
    cloud, asprs_class, above_m = surroundings(returns, block_named(block, flow.block_m), flow)
    core = Grid.covering(block_named(block, flow.block_m).bounds, cell_m=cell_side(decided), crs=crs)
    found = find_boulders(cloud, asprs_class, above_m, core) if len(cloud) else no_features(crs)
    layers.write_features(out, found)
