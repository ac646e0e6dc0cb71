"""Steps of one working block: classes of its returns, grids made from them, and boulder candidates.

A block reads its neighbours' returns within the halo, works on all of them, and keeps what lies in its core.
"""

from __future__ import annotations

from dataclasses import asdict, replace
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.blocks import Block, block_named
from pipeline.files import blocks as archives
from pipeline.files.pdal import ground_by_pdal
from pipeline.grid import Grid, Heights
from pipeline.points.classes import FindGround, classify_returns, own_ground
from pipeline.points.cloud import Cloud, northward
from pipeline.points.duplicates import find_duplicates
from pipeline.points.ground import find_ground
from pipeline.points.producer import GroundEvidence, ground_evidence
from pipeline.points.producer import choose_ground as choose_from
from pipeline.settings import (
    Flow,
    LayerSettings,
    PointsSettings,
    RockSettings,
    RoofSettings,
    TerrainSettings,
    WireSettings,
)
from pipeline.terrain.counts import class_counts, lone_ground
from pipeline.terrain.profile import profile_grids
from pipeline.terrain.surface import canopy_height, ground_support, lowest_last, surface_from_ground

GROUND, WATER = 2, 9
"""ASPRS LAS 1.4 R15, table 17."""

Columns = dict[str, NDArray[np.generic]]


def choose_ground(*, split: list[Path], blocks: list[str], out: Path, flow: Flow, settings: PointsSettings) -> None:
    """Whose ground the area uses: as the settings say, or decided from evidence measured on a few blocks."""
    evidence = GroundEvidence()
    for name in blocks if settings.ground_from == "auto" else []:
        block = block_named(name, flow.block_m)
        cloud, _ = archives.join_returns(_laid_out(split, block), names=())
        usable = cloud.take(cloud.is_usable)
        if (usable.producer_class == GROUND).any():
            own = own_ground(usable, settings=settings, find_ground=_engine(settings))
            evidence += ground_evidence(
                usable.enh,
                own,
                usable.producer_class == GROUND,
                usable.is_last,
                usable.within(block.bounds),
                settings=settings,
            )
    if settings.ground_from == "auto":
        archives.write_json(out, asdict(choose_from(evidence, settings=settings)))
    else:
        archives.write_json(out, {"ground_from": settings.ground_from, "reason": "As the area file says."})


def classify(
    *,
    split: list[Path],
    choice: Path,
    out: Path,
    block: str,
    flow: Flow,
    settings: PointsSettings,
    roofs: RoofSettings,
    wires: WireSettings,
) -> None:
    """Classes and heights above ground of the returns of one block.

    `split` are the folders of the tiles that reach into the block or its halo; `choice` says whose ground is used.
    """
    place = block_named(block, flow.block_m)
    cloud, extra = archives.join_returns(_laid_out(split, place), names=("tile_key", "index"))
    # One fixed order, so that nothing downstream can depend on how the survey was cut into tiles.
    order = northward(cloud)
    cloud, extra = cloud.take(order), _pick(extra, order)
    # Tiles that overlap repeat each other's returns.
    cloud = replace(cloud, is_usable=cloud.is_usable & ~find_duplicates(cloud))
    decided = settings.model_copy(update={"ground_from": archives.read_json(choice)["ground_from"]})
    classified = classify_returns(cloud, settings=decided, find_ground=_engine(settings), roofs=roofs, wires=wires)
    core = cloud.within(place.bounds)
    extra |= {"asprs_class": classified.asprs_class, "height_above_m": classified.height_above_m}
    archives.write_returns(out, cloud.take(core), _pick(extra, core))


def grids(
    *,
    returns: list[Path],
    out: Path,
    block: str,
    crs: str,
    cell_m: float,
    flow: Flow,
    terrain: TerrainSettings,
    layers: LayerSettings,
) -> None:
    """Every raster of one block: bare earth, support, canopy, and additive counts of returns."""
    cloud, asprs_class, above_m = _surroundings(returns, block_named(block, flow.block_m), flow)
    core = Grid.covering(block_named(block, flow.block_m).bounds, cell_m=cell_m, crs=crs)
    if not cloud.within(block_named(block, flow.block_m).bounds).any():
        archives.write_grids(out, {}, core)
        return
    earth = cloud.take(np.isin(asprs_class, (GROUND, WATER)))
    made: dict[str, Heights] = {
        "bare_earth": surface_from_ground(earth.enh, core, settings=terrain),
        "ground_support": ground_support(earth.en, core),
        "canopy_height": canopy_height(cloud, asprs_class, above_m, core),
        "lowest_last": lowest_last(cloud, asprs_class, core),
    }
    made |= profile_grids(cloud, asprs_class, above_m, core, settings=layers)
    made |= class_counts(asprs_class, cloud.east, cloud.north, cloud.is_last, core)
    made |= lone_ground(cloud, asprs_class, above_m, core, settings=layers)
    archives.write_grids(out, made, core)


def boulders(
    *,
    returns: list[Path],
    out: Path,
    block: str,
    crs: str,
    cell_m: float,
    flow: Flow,
    settings: RockSettings,
) -> None:
    """Boulder candidates of one block."""
    # Imported late: the steps above run for every block too and never open a vector file.
    from pipeline.features import no_features
    from pipeline.files import layers
    from pipeline.rock.boulders import find_boulders

    cloud, asprs_class, above_m = _surroundings(returns, block_named(block, flow.block_m), flow)
    core = Grid.covering(block_named(block, flow.block_m).bounds, cell_m=cell_m, crs=crs)
    found = find_boulders(cloud, asprs_class, above_m, core, settings=settings) if len(cloud) else no_features(crs)
    layers.write_features(out, found)


def _engine(settings: PointsSettings) -> FindGround:
    """Who filters the ground."""
    return ground_by_pdal if settings.engine == "pdal" else find_ground


def _laid_out(split: list[Path], block: Block) -> list[Path]:
    """The archives that tiles laid out for a block."""
    return [path for folder in split for path in sorted(folder.glob(f"{block.name}.*.npz"))]


def _surroundings(
    returns: list[Path], block: Block, flow: Flow
) -> tuple[Cloud, NDArray[np.uint8], NDArray[np.float32]]:
    """Classified usable returns of the block and its halo."""
    names = ("asprs_class", "height_above_m")
    cloud, extra = archives.join_returns(returns, bounds=block.reach(flow.halo_m), names=names)
    return (
        cloud,
        cast("NDArray[np.uint8]", extra["asprs_class"]),
        cast("NDArray[np.float32]", extra["height_above_m"]),
    )


def _pick(columns: Columns, which: NDArray[np.generic]) -> Columns:
    return {name: column[which] for name, column in columns.items()}
