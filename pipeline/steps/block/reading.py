"""What the steps of a block share: what tiles laid out for it, and choosing the ground filter."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.blocks import Block
from pipeline.points.classes import FindGround, embedded
from pipeline.settings import PointsSettings

Columns = dict[str, NDArray[np.generic]]
"""Columns of returns by name, all of one length."""


def engine(settings: PointsSettings) -> FindGround:
    """The ground filter that the settings ask for."""
    if settings.engine == "pdal":
        # Only who asks for PDAL waits for what its files need.
        from pipeline.files.pdal import ground_by_pdal

        return partial(ground_by_pdal, settings=settings)
    return embedded(settings)


def laid_out(split: list[Path], block: Block) -> list[Path]:
    """The folders of returns that tiles laid out for a block."""
    return [path for folder in split for path in sorted(folder.glob(f"{block.name}.*"))]
