"""One input tile decoded once, its returns laid out by working block."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pipeline.files import arrays
from pipeline.files.disk import atomic
from pipeline.files.las import tiles as las
from pipeline.files.las.class_layer import Beside
from pipeline.intake.placement import Placement
from pipeline.lattice.blocks import block_named
from pipeline.returns.ground_cells import GroundCells
from pipeline.settings import Flow


def split(
    *,
    tile: Path,
    out: Path,
    seen: Path,
    beside: Path,
    bounds: list[float],
    blocks: list[str],
    source_crs: str,
    crs: str,
    height_unit_m: float,
    flow: Flow,
) -> None:
    """Decode one tile and lay its returns out by working block, margins included, piece by piece.

    Each return carries its place in the tile, and lies in a folder of the tile, so that its class finds the way back.
    Returns outside `bounds` are strays; `blocks` are those of the plan that the tile reaches. `seen` is left behind
    when the returns are gone: the squares of ground they cover, from which the cells of the area are decided. `beside`
    holds what must be known of the points to write the tile back without decoding it again; it may be empty.
    """
    west, south, east, north = bounds
    placement = Placement(source_crs, crs, height_unit_m)
    ground: list[GroundCells] = []
    known: list[Beside] = []
    with atomic.replacing_folder(out) as folder:
        pieces = las.read_pieces(tile, placement, usable_bounds=(west, south, east, north), beside=known)
        for start, cloud in pieces:
            ground.append(GroundCells.of(cloud))
            index = np.arange(start, start + len(cloud), dtype=np.uint32)
            for name in blocks:
                near = np.flatnonzero(cloud.within(block_named(name, flow.block_m).reach(flow.halo_m)))
                if len(near):
                    arrays.write_returns(folder / f"{name}.{start}", cloud.take(near), {"index": index[near]})
    arrays.write_arrays(seen, vars(GroundCells.joined(ground)))
    arrays.write_arrays(beside, vars(Beside.joined(known)) if known else {})
