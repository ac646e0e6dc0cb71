"""Steps of one input tile: decode it once, and write it back with its classes."""

from __future__ import annotations

from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.blocks import Block, blocks_covering
from pipeline.coordinates import Placement
from pipeline.files import atomic, las
from pipeline.files import blocks as archives
from pipeline.points.cloud import Cloud
from pipeline.settings import FlowSettings

UNCLASSIFIED = 1
"""ASPRS LAS 1.4 R15, table 17."""


def split(
    *, tile: Path, out: Path, tile_key: int, source_crs: str, crs: str, height_unit_m: float, flow: FlowSettings
) -> None:
    """Decode one tile and lay its returns out by working block, margins included.

    Each return carries the key of its tile and its place in it, so that its class finds the way back.
    """
    cloud, records = las.read_cloud(tile, Placement(source_crs, crs, height_unit_m))
    place = {"tile_key": np.full(len(cloud), tile_key, np.int64), "index": np.arange(len(cloud), dtype=np.uint32)}
    with atomic.replacing_folder(out) as folder:
        las.save_records(folder, records)
        for block in _blocks_of(cloud, flow):
            near = cloud.within(block.reach(flow.halo_m))
            if near.any():
                extra = {name: column[near] for name, column in place.items()}
                archives.write_returns(folder / f"{block.name}.npz", cloud.take(near), extra)


def label(*, split: Path, classified: list[Path], out: Path, tile_key: int) -> None:
    """Write one tile back: every return in its place, all fields kept, with its class."""
    records = las.load_records(split)
    classes = np.full(len(records.points), UNCLASSIFIED, np.uint8)
    for path in classified:
        _, extra = archives.read_returns(path)
        ours = extra["tile_key"] == tile_key
        classes[extra["index"][ours]] = cast("NDArray[np.uint8]", extra["asprs_class"])[ours]
    las.write_classified(out, records, classes)


def _blocks_of(cloud: Cloud, flow: FlowSettings) -> list[Block]:
    """The blocks whose core or halo the returns reach."""
    if not len(cloud):
        return []
    west, south = float(cloud.east.min()) - flow.halo_m, float(cloud.north.min()) - flow.halo_m
    east, north = float(cloud.east.max()) + flow.halo_m, float(cloud.north.max()) + flow.halo_m
    return blocks_covering([(west, south, east, north)], block_m=flow.block_m)
