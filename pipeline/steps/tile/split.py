"""One input tile decoded once, its returns laid out by working block."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pipeline.files import arrays
from pipeline.files.disk import atomic
from pipeline.files.las import tiles as las
from pipeline.intake.placement import Placement
from pipeline.lattice.blocks import block_named
from pipeline.returns.ground_cells import GroundCells
from pipeline.settings import Flow


def split(
    *,
    tile: Path,
    out: Path,
    seen: Path,
    tile_key: int,
    bounds: list[float],
    blocks: list[str],
    source_crs: str,
    crs: str,
    height_unit_m: float,
    flow: Flow,
) -> None:
    """Decode one tile and lay its returns out by working block, margins included, piece by piece.

    Each return carries the key of its tile and its place in it, so that its class finds the way back. Returns outside
    `bounds` are strays; `blocks` are those of the plan that the tile reaches. `seen` is left behind when the returns
    are gone: the squares of ground they cover, from which the cells of the area are decided.
    """
    west, south, east, north = bounds
    placement = Placement(source_crs, crs, height_unit_m)
    ground: list[GroundCells] = []
    with atomic.replacing_folder(out) as folder:
        for start, cloud in las.read_pieces(tile, placement, usable_bounds=(west, south, east, north)):
            ground.append(GroundCells.of(cloud))
            index = np.arange(start, start + len(cloud), dtype=np.uint32)
            for name in blocks:
                near = np.flatnonzero(cloud.within(block_named(name, flow.block_m).reach(flow.halo_m)))
                if len(near):
                    place: arrays.Arrays = {"tile_key": np.full(len(near), tile_key, np.int64), "index": index[near]}
                    arrays.write_returns(folder / f"{name}.{start}", cloud.take(near), place)
    arrays.write_arrays(seen, vars(GroundCells.joined(ground)))
