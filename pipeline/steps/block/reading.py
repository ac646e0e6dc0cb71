"""What the steps of a block share: what tiles laid out for it, and choosing the ground filter."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.blocks import Block
from pipeline.points.classes import FindGround, embedded
from pipeline.points.levelling import LineShift
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


def read_shifts(decided: Mapping[str, object], /) -> tuple[LineShift, ...]:
    """The shifts of flight lines in what the step `decide` wrote."""
    written = cast("list[dict[str, float]]", decided["line_shifts"])
    return tuple(LineShift(int(one["line"]), one["east_m"], one["north_m"], one["up_m"]) for one in written)


def laid_out(split: list[Path], block: Block) -> list[Path]:
    """The folders of returns that tiles laid out for a block."""
    return [path for folder in split for path in sorted(folder.glob(f"{block.name}.*"))]
