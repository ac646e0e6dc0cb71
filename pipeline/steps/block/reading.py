"""What the steps of a block share: what tiles laid out for it, and choosing the ground filter."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.files import arrays
from pipeline.files.disk.kept import mark_of_arrays
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


def lines_of(split: list[Path], block: Block, /) -> set[int]:
    """The flight lines of the returns that tiles laid out for a block: shifts of others do not move it."""
    found: set[int] = set()
    for path in laid_out(split, block):
        found |= set(np.unique(arrays.map_arrays(path, ("flight_line",))["flight_line"]).tolist())
    return found


def mark_of_returns(split: list[Path], block: Block, told: str, /) -> str:
    """A mark that changes with a text and with the returns that tiles laid out for a block, in whatever pieces.

    Where a return stands in its tile counts in the core of the block only, whose classes are written by it: around the
    core, a tile from which others were taken away is the same.
    """
    tiles = sorted({path.parent.name for path in laid_out(split, block)})
    return mark_of_arrays(told, _columns_of_tiles(split, block, tiles))


def _columns_of_tiles(split: list[Path], block: Block, tiles: list[str]) -> Iterator[NDArray[np.generic]]:
    """Column after column of the returns of each tile, with the name of the tile before it."""
    for tile in tiles:
        yield np.frombuffer(tile.encode(), np.uint8)
        pieces = [arrays.map_arrays(path) for path in laid_out(split, block) if path.parent.name == tile]
        for name in sorted(pieces[0].keys() - {"index"}):
            yield np.concatenate([piece[name] for piece in pieces])
        yield np.concatenate([piece["index"][_is_core(piece, block)] for piece in pieces])


def _is_core(piece: Columns, block: Block) -> NDArray[np.bool_]:
    """(n,) returns that lie in the block itself."""
    west, south, east, north = block.bounds
    at_east, at_north = piece["east"].astype(np.float64), piece["north"].astype(np.float64)
    inside: NDArray[np.bool_] = (at_east >= west) & (at_east < east) & (at_north >= south) & (at_north < north)
    return inside
