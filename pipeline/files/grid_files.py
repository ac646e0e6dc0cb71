"""Rasters that steps hand to each other: those of a block or a field in a folder, side by side with their neighbours'.

They stay beside the results, so that a changed setting need not go back to the returns, and there are 25 for each cell
of an area. Each is therefore a GeoTIFF of its own, in the smallest whole numbers that hold it and compressed by
Zstandard at its quickest, which needs a fifth of the room and about a second of processor time a square kilometre
(measured; deflate takes twice as long).
"""

from __future__ import annotations

import os
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import cast

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.windows import Window

from pipeline.files.arrays import Arrays, read_json, write_json
from pipeline.files.disk.atomic import replacing_folder
from pipeline.lattice.grid import Bounds, Grid, Heights

TILE_CELLS = 512
"""Side, in cells, of the tiles of a raster on disk: what is read and written at a time."""
CACHE_BYTES = 64 * 2**20
"""Memory, in bytes, in which GDAL may keep tiles; left to itself it takes a twentieth of the machine's. Our
choice."""
_GRID = "grid.json"
"""Stands in a folder of rasters beside them."""


# ---------------------------------------------------------------- one folder


def write_grids(path: Path, grids: Arrays | Iterable[tuple[str, NDArray[np.generic]]], grid: Grid, /) -> None:
    """Write rasters together with the grid they lie on.

    Pairs of an iterator are let go one by one, so that only one need be in memory.
    """
    with replacing_folder(path) as folder, rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES):
        write_json(folder / _GRID, asdict(grid))
        for name, values in grids.items() if isinstance(grids, Mapping) else grids:
            _write(folder / f"{name}.tif", as_small(values), grid)


def _write(path: Path, values: NDArray[np.generic], grid: Grid) -> None:
    profile = {
        "driver": "GTiff",
        "height": grid.rows,
        "width": grid.cols,
        "count": 1,
        "dtype": values.dtype,
        "crs": grid.crs,
        "transform": grid.transform,
        "tiled": True,
        "blockxsize": TILE_CELLS,
        "blockysize": TILE_CELLS,
        "compress": "zstd",
        "zstd_level": 1,
        # Tiles of zeros alone take no room.
        "sparse_ok": True,
    }
    with rasterio.open(path, "w", **profile) as target:
        target.write(values, 1)


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
    return grid, tuple(sorted(file.stem for file in path.glob("*.tif")))


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
        with rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES):
            for path, frame in self.frames:
                shared = frame.within(part.bounds)
                if shared.rows:
                    joined[part.window_of(shared)] = _read(path / f"{name}.tif", frame.window_of(shared))
        return joined


def _read(path: Path, window: tuple[slice, slice]) -> NDArray[np.generic]:
    with rasterio.open(path) as source:
        return np.asarray(source.read(1, window=Window.from_slices(*window)))


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
