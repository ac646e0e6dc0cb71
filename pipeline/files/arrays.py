"""What steps hand to each other: columns of returns and per-block grids, a folder of plain `.npy` files each.

They are read once or twice and thrown away, so they are not compressed: decoding would cost more than the disk. One
file a column lets a step read the columns it needs, and of those the rows it needs (numpy maps the file). Measured on
the columns of 800 000 returns, one structured array in one file takes eight times as long to read in part.
"""

from __future__ import annotations

import json
import os
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.files.disk.atomic import replacing_folder, write_text
from pipeline.lattice.grid import Bounds, Grid, Heights
from pipeline.returns.cloud import Cloud

Arrays = Mapping[str, NDArray[np.generic]]
# Stands in a folder of rasters beside them.
_GRID = "grid.json"


# ---------------------------------------------------------------- folders of arrays


def write_arrays(path: Path, arrays: Arrays | Iterable[tuple[str, NDArray[np.generic]]], /) -> None:
    """Write named arrays into a folder, which takes its place when it is whole.

    Pairs of an iterator are let go one by one, so that only one need be in memory.
    """
    with replacing_folder(path) as folder:
        _fill(folder, arrays)


def _fill(folder: Path, arrays: Arrays | Iterable[tuple[str, NDArray[np.generic]]]) -> None:
    for name, values in arrays.items() if isinstance(arrays, Mapping) else arrays:
        np.save(folder / f"{name}.npy", values, allow_pickle=False)


def map_arrays(path: Path, names: Collection[str] | None = None, /) -> dict[str, NDArray[np.generic]]:
    """What `write_arrays` wrote, all arrays or those of some names; read only, and read from disk where looked at.

    Raises
    ------
    FileNotFoundError, ValueError
        If an array is missing, or its file is cut short.
    """
    wanted = sorted(file.stem for file in path.glob("*.npy")) if names is None else names
    return {name: np.asarray(np.load(path / f"{name}.npy", mmap_mode="r")) for name in wanted}


# ---------------------------------------------------------------- columns of returns


def write_returns(path: Path, cloud: Cloud, extra: Arrays, /) -> None:
    """Write the columns of a cloud and further columns of the same length."""
    write_arrays(path, vars(cloud) | dict(extra))


def join_returns(
    paths: Sequence[Path], /, *, names: Sequence[str] = ()
) -> tuple[Cloud, dict[str, NDArray[np.generic]]]:
    """The returns that several calls of `write_returns` wrote, one after the other, and some of their further columns.

    Parameters
    ----------
    names : the further columns to read
    """
    of_cloud = [f.name for f in fields(Cloud)]
    if not paths:
        return Cloud.empty(), {name: np.empty(0, np.int64) for name in names}
    # Read at once: looked at page by page, in a mapped file, a column takes five times as long.
    joined = {name: np.concatenate([np.load(path / f"{name}.npy") for path in paths]) for name in (*of_cloud, *names)}
    return Cloud(**{name: joined.pop(name) for name in of_cloud}), joined


# ---------------------------------------------------------------- grids


def write_grids(path: Path, grids: Arrays | Iterable[tuple[str, NDArray[np.generic]]], grid: Grid, /) -> None:
    """Write rasters together with the grid they lie on; pairs of an iterator one by one, as `write_arrays` does."""
    with replacing_folder(path) as folder:
        write_json(folder / _GRID, asdict(grid))
        _fill(folder, grids)


def read_grid_of(path: Path, /) -> tuple[Grid, tuple[str, ...]]:
    """The grid of what `write_grids` wrote, and the names of the rasters on it."""
    grid = Grid(**read_json(path / _GRID))  # type: ignore[arg-type]
    return grid, tuple(sorted(file.stem for file in path.glob("*.npy")))


@dataclass(frozen=True)
class Mosaic:
    """The grids of blocks side by side, each raster read where it is asked for.

    Attributes
    ----------
    grid : covers all blocks with returns
    names : of the rasters that each block has
    frames : folder of each block with returns, and its grid
    """

    grid: Grid
    names: tuple[str, ...]
    frames: tuple[tuple[Path, Grid], ...]

    @classmethod
    def of(cls, folders: Sequence[Path], /) -> Mosaic | None:
        """The mosaic of the grids of blocks, no raster read yet; None where no block holds a return."""
        found = [(path, *read_grid_of(path)) for path in folders]
        made = [(path, frame, names) for path, frame, names in found if names]
        if not made:
            return None
        bounds = np.array([frame.bounds for _, frame, _ in made])
        west, south = bounds[:, :2].min(axis=0)
        east, north = bounds[:, 2:].max(axis=0)
        _, first, names = made[0]
        whole = Grid.covering((west, south, east, north), cell_m=first.cell_m, crs=first.crs)
        return cls(whole, names, tuple((path, frame) for path, frame, _ in made))

    def part(self, name: str, part: Grid, /) -> Heights:
        """One raster of all blocks on a part of the lattice, NaN where there is no block."""
        joined = np.full(part.shape, np.nan, np.float32)
        for path, frame in self.frames:
            shared = frame.within(part.bounds)
            if shared.rows:
                joined[part.window_of(shared)] = map_arrays(path, (name,))[name][frame.window_of(shared)]
        return joined


_BLOCKS = "blocks.json"
"""Stands in a folder of sums instead of rasters: in which folders of blocks they lie."""


def write_sums_of_blocks(path: Path, mosaic: Mosaic, grid: Grid, names: Collection[str], /) -> None:
    """Write where the rasters of some names lie, block by block, so that `read_sums` finds them.

    They are not copied: those of a square kilometre take 350 MB.
    """
    blocks = [{"folder": os.path.relpath(folder, path), "grid": asdict(frame)} for folder, frame in mosaic.frames]
    with replacing_folder(path) as folder:
        write_json(folder / _GRID, asdict(grid))
        write_json(folder / _BLOCKS, {"names": sorted(names), "blocks": blocks})


def _sums_of_blocks(path: Path) -> Mosaic:
    content = read_json(path / _BLOCKS)
    blocks = cast("list[dict[str, object]]", content["blocks"])
    frames = tuple((path / str(block["folder"]), Grid(**cast("dict[str, object]", block["grid"]))) for block in blocks)  # type: ignore[arg-type]
    return Mosaic(read_grid_of(path)[0], tuple(cast("list[str]", content["names"])), frames)


def read_sums(
    path: Path, names: Collection[str] | None = None, /, *, bounds: Bounds | None = None
) -> dict[str, Heights]:
    """Read counts and sums per cell that `write_grids` or `write_sums_of_blocks` wrote, all float32.

    Parameters
    ----------
    names : those to read; all where none are given
    bounds : west, south, east, north in metres, on edges of cells
        Only the part of the grid inside is read, as `pipeline.files.rasters.read_heights` does it.
    """
    grid, _ = read_grid_of(path)
    part = grid if bounds is None else grid.within(bounds)
    if (path / _BLOCKS).exists():
        mosaic = _sums_of_blocks(path)
        return {name: mosaic.part(name, part) for name in (mosaic.names if names is None else names)}
    window = grid.window_of(part) if part.rows else (slice(0, 0), slice(0, 0))
    return {name: values[window].astype(np.float32) for name, values in map_arrays(path, names).items()}


def read_window(path: Path, name: str, window: tuple[slice, slice], /) -> Heights:
    """Some rows and columns of one of the rasters that `write_grids` or `write_sums_of_blocks` wrote, float32."""
    if (path / _BLOCKS).exists():
        mosaic = _sums_of_blocks(path)
        return mosaic.part(name, mosaic.grid.part(window))
    return map_arrays(path, (name,))[name][window].astype(np.float32)


# ---------------------------------------------------------------- JSON


def write_json(path: Path, content: object, /) -> None:
    """Write a JSON file, keys sorted so that equal content is equal bytes."""
    write_text(path, json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False) + "\n")


def read_json(path: Path, /) -> dict[str, object]:
    """Read a JSON object."""
    content = json.loads(path.read_text(encoding="utf-8"))
    if not isinstance(content, dict):
        raise TypeError(f"{path} holds no JSON object")
    return content
