"""Rasters on disk: Cloud Optimized GeoTIFF; NaN in memory is nodata on disk."""

from __future__ import annotations

from pathlib import Path
from typing import cast

import numpy as np
import rasterio
import rasterio.shutil
from affine import Affine
from numpy.typing import NDArray
from PIL import Image
from rasterio.windows import Window

from pipeline.files.disk.atomic import replacing
from pipeline.lattice.grid import Grid, Heights

NODATA = -9999.0
"""Stands for NaN on disk."""
WINDOW_CACHE_MB = 64
"""Memory, in megabytes, in which GDAL may keep what it has read while a raster is read by windows. Left to itself it
takes a twentieth of the machine's. Our choice."""


def write_heights(path: Path, values: Heights, grid: Grid, /, *, description: str) -> None:
    """Write a float32 raster as a Cloud Optimized GeoTIFF with nodata and a description of its unit."""
    filled = np.where(np.isfinite(values), values, NODATA).astype(np.float32)
    _write_cog(path, filled, grid, nodata=NODATA, description=description)


def write_bytes_raster(path: Path, values: NDArray[np.uint8], grid: Grid, /, *, description: str) -> None:
    """Write a uint8 raster, 0 being nodata."""
    _write_cog(path, values, grid, nodata=0, description=description)


def _write_cog(
    path: Path, values: NDArray[np.float32] | NDArray[np.uint8], grid: Grid, *, nodata: float, description: str
) -> None:
    profile = {
        "driver": "GTiff",
        "height": grid.rows,
        "width": grid.cols,
        "count": 1,
        "dtype": str(values.dtype),
        "crs": grid.crs,
        "transform": grid.transform,
        "nodata": nodata,
    }
    with replacing(path) as part, rasterio.MemoryFile() as memory:
        with memory.open(**profile) as plain:
            plain.write(values, 1)
            plain.set_band_description(1, description)
        predictor = 3 if values.dtype == np.float32 else 2
        with memory.open() as plain:
            rasterio.shutil.copy(plain, part, driver="COG", compress="deflate", predictor=predictor, overviews="auto")


def read_heights(path: Path, /) -> tuple[Heights, Grid]:
    """Read a raster written by `write_heights`: values with NaN for nodata, and its grid."""
    with rasterio.open(path) as source:
        values = source.read(1).astype(np.float32)
        nodata, transform, crs = source.nodata, source.transform, source.crs
    if nodata is not None:
        values[values == np.float32(nodata)] = np.nan
    cell_m = transform.a
    authority = crs.to_authority()
    name = ":".join(authority) if authority else crs.to_wkt()
    rows, cols = values.shape
    grid = Grid(name, round(transform.c / cell_m), round(transform.f / cell_m), cell_m, rows, cols)
    return values, grid


def read_window(path: Path, window: tuple[slice, slice], /) -> Heights:
    """The values of a raster in some of its rows and columns, NaN for nodata; little more than these is in memory."""
    rows, cols = window
    part = Window.from_slices((rows.start, rows.stop), (cols.start, cols.stop))
    with rasterio.Env(GDAL_CACHEMAX=WINDOW_CACHE_MB), rasterio.open(path) as source:
        values: Heights = source.read(1, window=part).astype(np.float32)
        if source.nodata is not None:
            values[values == np.float32(source.nodata)] = np.nan
    return values


def write_png(path: Path, picture: NDArray[np.uint8], /, *, dpi: float) -> None:
    """Write an RGB picture (rows, cols, 3) as a PNG that prints at its true size."""
    with replacing(path) as part:
        Image.fromarray(picture).save(part, dpi=(dpi, dpi))


def write_picture(path: Path, picture: NDArray[np.uint8], transform: Affine, crs: str, /) -> None:
    """Write an RGB picture (rows, cols, 3) as a georeferenced TIFF; the transform may be rotated."""
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
            predictor=2,
            tiled=True,
            photometric="RGB",
        ) as target,
    ):
        target.write(np.moveaxis(picture, 2, 0))


def read_grid(path: Path, /) -> Grid:
    """The grid of a raster, without its values."""
    with rasterio.open(path) as source:
        transform, crs = source.transform, source.crs
        rows, cols = source.height, source.width
    authority = crs.to_authority()
    name = ":".join(authority) if authority else cast("str", crs.to_wkt())
    return Grid(name, round(transform.c / transform.a), round(transform.f / transform.a), transform.a, rows, cols)
