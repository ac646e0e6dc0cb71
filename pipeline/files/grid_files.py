"""Rasters that steps hand to each other: those of a block or a field in a folder, side by side with their neighbours'.

They stay beside the results, so that a changed setting need not go back to the returns, and there are 25 for each cell
of an area. Each is therefore a file of its own, in the smallest whole numbers that hold it and compressed by zlib at
its quickest, which takes one and a half seconds of processor time a square kilometre at cells of 0.5 m. It holds an
array as NumPy writes it and no more: where it lies stands in the folder once. As GeoTIFFs rasters of cells of 2 m took
three times as long to read, most of it to learn anew of each of some 200 where it lies (measured: 1.3 ms and 0.4 ms
each); of 0.5 m both take as long, and these are larger by 4 %.
"""

from __future__ import annotations

import os
import zlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from io import BytesIO
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.files.arrays import Arrays, read_json, write_json
from pipeline.files.disk.atomic import replacing_folder
from pipeline.lattice.grid import Bounds, Grid, Heights

ENDING = ".npy.z"
"""Of a raster on disk: what `numpy.save` writes, compressed by zlib."""
_GRID = "grid.json"
"""Stands in a folder of rasters beside them."""


# ---------------------------------------------------------------- one folder


def write_grids(path: Path, grids: Arrays | Iterable[tuple[str, NDArray[np.generic]]], grid: Grid, /) -> None:
    """Write rasters together with the grid they lie on.

    Pairs of an iterator are let go one by one, so that only one need be in memory.
    """
    with replacing_folder(path) as folder:
        write_json(folder / _GRID, asdict(grid))
        for name, values in grids.items() if isinstance(grids, Mapping) else grids:
            if values.shape != grid.shape:
                raise ValueError(f"{name} has the shape {values.shape}, the grid {grid.shape}")
            whole = BytesIO()
            np.lib.format.write_array(whole, np.ascontiguousarray(as_small(values)), allow_pickle=False)
            (folder / f"{name}{ENDING}").write_bytes(zlib.compress(whole.getbuffer(), level=1))


def as_small(values: NDArray[np.generic], /) -> NDArray[np.generic]:
    """Whole numbers from 0 to 2 ** 32 as the smallest unsigned integers that hold them all, anything else as float32.

    What comes back as float32 (`Mosaic.part`) is the same in either case.
    """
    if not values.size:
        return values.astype(np.uint8)
    least, most = float(values.min()), float(values.max())
    # NaN is neither.
    if least >= 0 and most < 2**32:
        whole = values.astype(np.min_scalar_type(int(most)))
        if np.array_equal(whole, values):
            return whole
    return values.astype(np.float32, copy=False)


def read_grid_of(path: Path, /) -> tuple[Grid, tuple[str, ...]]:
    """The grid of what `write_grids` wrote, and the names of the rasters on it."""
    grid = Grid(**read_json(path / _GRID))  # type: ignore[arg-type]
    return grid, tuple(sorted(file.name.removesuffix(ENDING) for file in path.glob(f"*{ENDING}")))


# ---------------------------------------------------------------- folders side by side


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
        """One raster of all blocks on a part of the lattice, (rows, cols) float32; NaN where there is no block."""
        joined = np.full(part.shape, np.nan, np.float32)
        for path, frame in self.frames:
            shared = frame.within(part.bounds)
            if shared.rows:
                joined[part.window_of(shared)] = _read(path / f"{name}{ENDING}")[frame.window_of(shared)]
        return joined


def _read(path: Path) -> NDArray[np.generic]:
    return np.asarray(np.lib.format.read_array(BytesIO(zlib.decompress(path.read_bytes())), allow_pickle=False))


_BLOCKS = "blocks.json"
"""Stands in a folder of sums instead of rasters: in which folders of blocks they lie."""


def write_sums_of_blocks(path: Path, mosaic: Mosaic, grid: Grid, names: Collection[str], /) -> None:
    """Write where the rasters of some names lie, block by block, so that `read_sums` finds them.

    They are not copied, as all of them would then be on disk twice.
    """
    blocks = [{"folder": os.path.relpath(folder, path), "grid": asdict(frame)} for folder, frame in mosaic.frames]
    with replacing_folder(path) as folder:
        write_json(folder / _GRID, asdict(grid))
        write_json(folder / _BLOCKS, {"names": sorted(names), "blocks": blocks})


def _sums(path: Path) -> Mosaic:
    """What `write_grids` or `write_sums_of_blocks` wrote, as a mosaic."""
    grid, names = read_grid_of(path)
    if not (path / _BLOCKS).exists():
        return Mosaic(grid, names, ((path, grid),))
    content = read_json(path / _BLOCKS)
    blocks = cast("list[dict[str, object]]", content["blocks"])
    frames = tuple((path / str(block["folder"]), Grid(**cast("dict[str, object]", block["grid"]))) for block in blocks)  # type: ignore[arg-type]
    return Mosaic(grid, tuple(cast("list[str]", content["names"])), frames)


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
    mosaic = _sums(path)
    part = mosaic.grid if bounds is None else mosaic.grid.within(bounds)
    return {name: mosaic.part(name, part) for name in (mosaic.names if names is None else names)}


def read_window(path: Path, name: str, window: tuple[slice, slice], /) -> Heights:
    """Some rows and columns of one of the rasters that `write_grids` or `write_sums_of_blocks` wrote, float32."""
    mosaic = _sums(path)
    return mosaic.part(name, mosaic.grid.part(window))
