"""Steps of one input tile: decode it once, and write it back with its classes."""

from __future__ import annotations

from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.blocks import block_named
from pipeline.coordinates import Placement
from pipeline.files import atomic, las
from pipeline.files import blocks as archives
from pipeline.settings import Flow

UNCLASSIFIED = 1
"""ASPRS LAS 1.4 R15, table 17."""


def split(
    *,
    tile: Path,
    out: Path,
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
    `bounds` are strays; `blocks` are those of the plan that the tile reaches.
    """
    west, south, east, north = bounds
    placement = Placement(source_crs, crs, height_unit_m)
    with atomic.replacing_folder(out) as folder:
        for start, cloud in las.read_pieces(tile, placement, folder, usable_bounds=(west, south, east, north)):
            index = np.arange(start, start + len(cloud), dtype=np.uint32)
            for name in blocks:
                near = np.flatnonzero(cloud.within(block_named(name, flow.block_m).reach(flow.halo_m)))
                if len(near):
                    place: archives.Arrays = {"tile_key": np.full(len(near), tile_key, np.int64), "index": index[near]}
                    archives.write_returns(folder / f"{name}.{start}.npz", cloud.take(near), place)


def label(*, split: Path, classified: list[Path], out: Path, tile_key: int) -> None:
    """Write one tile back: every return in its place, all fields kept, with its class."""
    records = las.load_records(split)
    classes = np.full(len(records.points), UNCLASSIFIED, np.uint8)
    for path in classified:
        ours = archives.read_marked(path, "tile_key", tile_key, ("index", "asprs_class"))
        classes[cast("NDArray[np.uint32]", ours["index"])] = ours["asprs_class"]
    las.write_classified(out, records, classes)
