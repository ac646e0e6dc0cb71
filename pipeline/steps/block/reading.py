"""What the steps of a block share: its returns and those of its neighbours within the halo, and who filters ground."""

from __future__ import annotations

from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.files import arrays
from pipeline.files.pdal import ground_by_pdal
from pipeline.lattice.blocks import Block
from pipeline.points.classes import FindGround
from pipeline.points.ground import find_ground
from pipeline.returns.cloud import Cloud
from pipeline.settings import (
    Flow,
    PointsSettings,
)

Columns = dict[str, NDArray[np.generic]]


def engine(settings: PointsSettings) -> FindGround:
    """Who filters the ground."""
    return ground_by_pdal if settings.engine == "pdal" else find_ground


def laid_out(split: list[Path], block: Block) -> list[Path]:
    """The folders of returns that tiles laid out for a block."""
    return [path for folder in split for path in sorted(folder.glob(f"{block.name}.*"))]


def surroundings(returns: list[Path], block: Block, flow: Flow) -> tuple[Cloud, NDArray[np.uint8], NDArray[np.float32]]:
    """Classified usable returns of the block and its halo."""
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
