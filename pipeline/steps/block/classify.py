"""Classes of the returns of one block: those of its halo are worked on too, and those of its core are kept."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pipeline.files import arrays
from pipeline.lattice.blocks import block_named
from pipeline.points.classes import classify_returns
from pipeline.points.duplicates import find_duplicates
from pipeline.returns.cloud import northward
from pipeline.settings import Flow, PointsSettings, RoofSettings, WireSettings
from pipeline.steps.block.reading import engine, laid_out, pick


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
    """Write the returns of one block with their classes and heights above ground.

    `split` are the folders of the tiles that reach into the block or its halo; `choice` says whose ground is used.
    """
    place = block_named(block, flow.block_m)
    cloud, extra = arrays.join_returns(laid_out(split, place), names=("tile_key", "index"))
    # One fixed order, so that nothing downstream can depend on how the survey was cut into tiles.
    order = northward(cloud)
    cloud, extra = cloud.take(order), pick(extra, order)
    # Tiles that overlap repeat each other's returns.
    cloud = replace(cloud, is_usable=cloud.is_usable & ~find_duplicates(cloud))
    decided = settings.model_copy(update={"ground_from": arrays.read_json(choice)["ground_from"]})
    classified = classify_returns(cloud, settings=decided, find_ground=engine(settings), roofs=roofs, wires=wires)
    core = cloud.within(place.bounds)
    extra |= {"asprs_class": classified.asprs_class, "height_above_m": classified.height_above_m}
    arrays.write_returns(out, cloud.take(core), pick(extra, core))
