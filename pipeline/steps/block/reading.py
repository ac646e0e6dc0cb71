"""What the steps of a block share: reading its returns with those of its halo, and choosing the ground filter."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.files import arrays
from pipeline.files.pdal import ground_by_pdal
from pipeline.lattice.blocks import Block
from pipeline.points.classes import FindGround, embedded
from pipeline.returns.cloud import Cloud
from pipeline.settings import Flow, PointsSettings

Columns = dict[str, NDArray[np.generic]]
"""Columns of returns by name, all of one length."""


def engine(settings: PointsSettings) -> FindGround:
    """The ground filter that the settings ask for."""
    return partial(ground_by_pdal, settings=settings) if settings.engine == "pdal" else embedded(settings)


def laid_out(split: list[Path], block: Block) -> list[Path]:
    """The folders of returns that tiles laid out for a block."""
    return [path for folder in split for path in sorted(folder.glob(f"{block.name}.*"))]


def surroundings(returns: list[Path], block: Block, flow: Flow) -> tuple[Cloud, NDArray[np.uint8], NDArray[np.float32]]:
    """The classified returns of the block and its halo, and the ASPRS class and height above ground of each."""
    names = ("asprs_class", "height_above_m")
    cloud, extra = arrays.join_returns(returns, bounds=block.reach(flow.halo_m), names=names)
    return (
        cloud,
        cast("NDArray[np.uint8]", extra["asprs_class"]),
        cast("NDArray[np.float32]", extra["height_above_m"]),
    )


def pick(columns: Columns, which: NDArray[np.generic]) -> Columns:
    """The chosen entries of every column."""
    return {name: column[which] for name, column in columns.items()}


def cell_side(decided: Path) -> float:
    """Side of a raster cell in metres, as decided for the whole area."""
    return float(str(arrays.read_json(decided)["cell_m"]))
