"""What is decided for the whole area from the ground its returns cover: side of a cell, whose ground is used."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.files import arrays
from pipeline.lattice.blocks import blocks_near
from pipeline.lattice.grid import Bounds
from pipeline.plan.cut import cell_for_density
from pipeline.points.classes import own_ground
from pipeline.points.duplicates import find_duplicates
from pipeline.points.producer import GroundChoice, GroundEvidence, choose_ground, ground_evidence
from pipeline.returns.asprs import GROUND
from pipeline.returns.cloud import Cloud, northward
from pipeline.returns.ground_cells import GroundCells
from pipeline.settings import Flow, PointsSettings
from pipeline.steps.block.reading import engine

PATCHES = 8
"""Patches of 100 m on which our ground is compared with the producer's; each takes about a second. Our choice."""


def decide(
    *, plan: Path, seen: Path, split: Path, out: Path, flow: Flow, settings: PointsSettings, cell_m: float
) -> None:
    """Write the side of a raster cell and whose ground the area uses, with the figures they come from.

    Neither depends on how the survey was cut into tiles or is cut into blocks: they come from the squares of ground
    that `split` saw returns in.

    Parameters
    ----------
    plan : `work/plan.json`, for the names of tiles and blocks
    seen, split : folders with what `split` left of each tile
    cell_m : side that the area file asks for; 0 to go by density
    """
    planned = arrays.read_json(plan)
    tiles = [str(tile["name"]) for tile in cast("list[dict[str, object]]", planned["tiles"])]
    blocks = set(cast("list[str]", planned["blocks"]))
    ground = GroundCells.joined([read_seen(seen / name) for name in tiles])
    density = ground.pulses_per_m2()
    if settings.ground_from == "auto":
        folders = [split / name for name in tiles]
        evidence = GroundEvidence()
        for patch in ground.patches(PATCHES):
            evidence += _evidence(_returns(folders, blocks, patch, flow), patch, settings)
        choice = asdict(choose_ground(evidence))
    else:
        choice = asdict(GroundChoice(settings.ground_from, "As the area file says."))
    figures = {"pulses_per_m2": density, "covered_m2": ground.covered_m2}
    arrays.write_json(out, choice | figures | {"cell_m": cell_m or cell_for_density(density)})


def read_seen(folder: Path, /) -> GroundCells:
    """What `split` left of the ground of a tile."""
    columns = arrays.map_arrays(folder, ("cells", "pulses"))
    return GroundCells(cast("NDArray[np.int32]", columns["cells"]), cast("NDArray[np.int64]", columns["pulses"]))


def _returns(folders: list[Path], blocks: set[str], patch: Bounds, flow: Flow) -> Cloud:
    """Usable returns of a patch and its halo, each once, in one fixed order."""
    west, south, east, north = patch
    reach = (west - flow.halo_m, south - flow.halo_m, east + flow.halo_m, north + flow.halo_m)
    clouds = []
    for block in blocks_near(reach, block_m=flow.block_m):
        if block.name in blocks:
            laid_out = [path for folder in folders for path in sorted(folder.glob(f"{block.name}.*"))]
            clouds.append(arrays.join_returns(laid_out, bounds=_shared(block.bounds, reach))[0])
    cloud = Cloud.join(clouds)
    cloud = cloud.take(northward(cloud))
    return cloud.take(~find_duplicates(cloud))


def _shared(one: Bounds, other: Bounds) -> Bounds:
    """The rectangle that two rectangles share."""
    return max(one[0], other[0]), max(one[1], other[1]), min(one[2], other[2]), min(one[3], other[3])


def _evidence(cloud: Cloud, patch: Bounds, settings: PointsSettings) -> GroundEvidence:
    """How the producer's ground compares with ours on a patch."""
    is_producer = cloud.producer_class == GROUND
    if not is_producer.any():
        return GroundEvidence()
    own = own_ground(cloud, find_ground=engine(settings))
    return ground_evidence(cloud.enh, own, is_producer, cloud.is_last, cloud.within(patch))
