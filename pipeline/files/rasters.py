"""Rasters on disk: Cloud Optimized GeoTIFF; NaN in memory is nodata on disk."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import cast

import numpy as np
import rasterio
import rasterio.shutil
from affine import Affine
from numpy.typing import NDArray
from PIL import Image
from rasterio.enums import Resampling
from rasterio.windows import Window

from pipeline.files.disk.atomic import replacing, scratch_beside
from pipeline.lattice.grid import Bounds, Grid, Heights
from pipeline.lattice.larger_cells import larger_cells, mean_into

NODATA = -9999.0
"""Stands for NaN on disk."""
WINDOW_CACHE_BYTES = 64 * 2**20
"""Memory, in bytes, in which GDAL may keep what it has read while a raster is read by windows. Left to itself it
takes a twentieth of the machine's. Our choice."""


Put = Callable[[NDArray[np.floating] | NDArray[np.uint8], Grid], None]
"""Writes the cells of a part of a raster."""
TILE_CELLS = 512
"""Side, in cells, of the tiles of a raster on disk: what is read and written at a time."""
CACHE_BYTES = 128 * 2**20
"""Memory for tiles of a raster that GDAL keeps, in bytes; its own choice, a share of the machine's, has no bound."""
READ_CELLS = 4_000_000
"""Cells read at a time where a raster is read in larger cells."""


def write_heights(path: Path, values: Heights, grid: Grid, /, *, description: str) -> None:
    """Write a float32 raster as a Cloud Optimized GeoTIFF with nodata and a description of its unit."""
    with writing_heights(path, grid, description=description) as put:
        put(values, grid)


@contextmanager
def writing_heights(path: Path, grid: Grid, /, *, description: str, is_result: bool = True) -> Iterator[Put]:
    """Write a float32 raster part by part: what is given takes the values of a part, NaN for unknown, and its grid.

    Cells that no part covers are unknown. Parts should be whole tiles of the raster (`Grid.bands`): others work too,
    but are compressed more than once.

    Parameters
    ----------
    is_result : bool
        Whether people will look at it: then the raster takes its place, when all is written, as a Cloud Optimized
        GeoTIFF with overviews, which takes eight times as long. One that only a later step reads is a plain GeoTIFF.
    """
    with _writing(path, grid, "float32", NODATA, description, is_result=is_result) as put:

        def put_heights(values: NDArray[np.floating] | NDArray[np.uint8], part: Grid) -> None:
            put(np.where(np.isfinite(values), values, NODATA).astype(np.float32), part)

        yield put_heights


@contextmanager
def writing_bytes(path: Path, grid: Grid, /, *, description: str) -> Iterator[Put]:
    """Write a uint8 raster part by part, as `writing_heights`; 0 is nodata."""
    with _writing(path, grid, "uint8", 0, description, is_result=True) as put:
        yield put


@contextmanager
def _writing(path: Path, grid: Grid, dtype: str, nodata: float, description: str, *, is_result: bool) -> Iterator[Put]:
    # GDAL's predictors: differences of floating-point numbers, of whole ones.
    predictor = 3 if dtype == "float32" else 2
    profile = {
        "driver": "GTiff",
        "height": grid.rows,
        "width": grid.cols,
        "count": 1,
        "dtype": dtype,
        "crs": grid.crs,
        "transform": grid.transform,
        "nodata": nodata,
        "tiled": True,
        "blockxsize": TILE_CELLS,
        "blockysize": TILE_CELLS,
        "sparse_ok": True,
        "bigtiff": "if_safer",
    }
    if not is_result:
        profile |= {"compress": "zstd", "zstd_level": 1, "predictor": predictor}
    with rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES), replacing(path) as part_path, scratch_beside(path) as scratch_path:
        plain_path = scratch_path if is_result else part_path
        with rasterio.open(plain_path, "w", **profile) as plain:

            def put(values: NDArray[np.floating] | NDArray[np.uint8], part: Grid) -> None:
                plain.write(values, 1, window=Window.from_slices(*grid.window_of(part)))

            yield put
            plain.set_band_description(1, description)
        if is_result:
            # The quickest level makes files 2 % larger than the usual one, in 60 % of its time (measured).
            options = {"compress": "deflate", "level": 1, "predictor": predictor, "overviews": "auto"}
            rasterio.shutil.copy(plain_path, part_path, driver="COG", **options)


def read_heights(path: Path, /, *, bounds: Bounds | None = None) -> tuple[Heights, Grid]:
    """Read a raster written by `write_heights`: values with NaN for nodata, and its grid.

    Parameters
    ----------
    bounds : west, south, east, north in metres, on edges of cells
        Only the part of the raster inside is read; no cells are made up beyond the rim of the raster, so what is read
        may be smaller than the bounds (and has no cells where the raster lies elsewhere).
    """
    with reading_heights(path) as read:
        return read(bounds)


@contextmanager
def reading_heights(path: Path, /) -> Iterator[Callable[[Bounds | None], tuple[Heights, Grid]]]:
    """Read one raster again and again: what is given reads within bounds as `read_heights` does.

    Windows side by side lie in the same tiles of the file, which are unpacked once while it stays open.
    """
    with rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES), rasterio.open(path) as source:

        def read(bounds: Bounds | None) -> tuple[Heights, Grid]:
            whole = _grid_of(source)
            grid = whole if bounds is None else whole.within(bounds)
            if not grid.rows:
                return np.empty((0, 0), np.float32), grid
            values = source.read(1, window=Window.from_slices(*whole.window_of(grid))).astype(np.float32)
            if source.nodata is not None:
                values[values == np.float32(source.nodata)] = np.nan
            return values, grid

        yield read


def read_coarse(path: Path, /, *, least_cell_m: float) -> tuple[Heights, Grid]:
    """Means of a raster in cells of at least this size that lie on the lattice, and their grid.

    It is read band by band: an area of any size takes some 100 MB.
    """
    grid, times = larger_cells(read_grid(path), least_m=least_cell_m)
    values = np.full(grid.shape, np.nan, np.float32)
    for band in grid.bands(step_rows=1, most_cells=READ_CELLS // times**2):
        fine, part = read_heights(path, bounds=band.bounds)
        if fine.size:
            values[grid.window_of(band)] = mean_into(fine, part, band, times)
    return values, grid


def read_grid(path: Path, /) -> Grid:
    """The grid of a raster, without its values."""
    with rasterio.open(path) as source:
        return _grid_of(source)


def _grid_of(source: rasterio.DatasetReader) -> Grid:
    transform, crs = source.transform, source.crs
    authority = crs.to_authority()
    name = ":".join(authority) if authority else cast("str", crs.to_wkt())
    west_col, north_row = round(transform.c / transform.a), round(transform.f / transform.a)
    return Grid(name, west_col, north_row, transform.a, source.height, source.width)


def read_window(path: Path, window: tuple[slice, slice], /) -> Heights:
    """The values of a raster in some of its rows and columns, NaN for nodata; little more than these is in memory."""
    rows, cols = window
    part = Window.from_slices((rows.start, rows.stop), (cols.start, cols.stop))
    with rasterio.Env(GDAL_CACHEMAX=WINDOW_CACHE_BYTES), rasterio.open(path) as source:
        values: Heights = source.read(1, window=part).astype(np.float32)
        if source.nodata is not None:
            values[values == np.float32(source.nodata)] = np.nan
    return values


def read_bytes(path: Path, /, *, largest_cells: int) -> tuple[NDArray[np.uint8], Affine]:
    """Read a uint8 raster, thinned out until it has no more cells than asked for, and its transform to the ground."""
    with rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES), rasterio.open(path) as source:
        thin = max(1.0, float(np.sqrt(source.height * source.width / largest_cells)))
        shape = max(1, int(source.height / thin)), max(1, int(source.width / thin))
        values: NDArray[np.uint8] = source.read(1, out_shape=shape)
        scaled = source.transform @ Affine.scale(source.width / shape[1], source.height / shape[0])
    return values, scaled


def read_thinned(path: Path, /, *, largest_cells: int) -> tuple[Heights, Affine]:
    """Read a raster of `write_heights` or of bytes, averaged until it has no more cells than asked for.

    Returns
    -------
    Values with NaN for nodata, and the transform from (column, row) to the ground.
    """
    with rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES), rasterio.open(path) as source:
        thin = max(1.0, float(np.sqrt(source.height * source.width / largest_cells)))
        shape = max(1, int(source.height / thin)), max(1, int(source.width / thin))
        read = source.read(1, out_shape=shape, masked=True, resampling=Resampling.average)
        values: Heights = read.astype(np.float32).filled(np.nan)
        scaled = source.transform @ Affine.scale(source.width / shape[1], source.height / shape[0])
    return values, scaled


def write_png(path: Path, picture: NDArray[np.uint8], /, *, dpi: float) -> None:
    """Write an RGB picture (rows, cols, 3) as a PNG that prints at its true size."""
    with replacing(path) as part:
        # The quickest level makes a sheet's file 2 % larger than the usual one, in 60 % of its time (measured).
        Image.fromarray(picture).save(part, dpi=(dpi, dpi), compress_level=1)


def write_picture(path: Path, picture: NDArray[np.uint8], transform: Affine, crs: str, /) -> None:
    """Write a drawn picture (rows, cols, 3 or 4) as a georeferenced TIFF: red, green, blue, and where given opacity.

    The transform may be rotated.
    """
    # A map has few colours in patches: the colours themselves make files a fifth smaller than their differences from
    # pixel to pixel (GDAL's predictor 2) would, and level 4 takes half the time of the usual 6 (measured on a sheet).
    rows, cols, bands = picture.shape
    with (
        replacing(path) as part,
        rasterio.open(
            part,
            "w",
            driver="GTiff",
            height=rows,
            width=cols,
            count=bands,
            dtype="uint8",
            crs=crs,
            transform=transform,
            compress="deflate",
            zlevel=4,
            tiled=True,
            photometric="RGB",
            **({"alpha": "unassociated"} if bands == 4 else {}),
        ) as target,
    ):
        target.write(np.moveaxis(picture, 2, 0))


def read_picture(path: Path, /) -> tuple[NDArray[np.uint8], Affine]:
    """What `write_picture` wrote: (rows, cols, 3), and the transform of its pixels."""
    with rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES), rasterio.open(path) as source:
        return np.moveaxis(source.read((1, 2, 3)), 0, 2), source.transform
