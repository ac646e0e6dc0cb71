"""Backdrops on disk: GeoTIFF, PNG with world file, and both turned to the sheet."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from xml.sax.saxutils import escape

import rasterio
import rasterio.shutil
from affine import Affine
from rasterio.enums import ColorInterp, Resampling
from rasterio.vrt import WarpedVRT
from rasterio.windows import Window

from pipeline.exports.backdrops.kinds import Bands
from pipeline.exports.backdrops.turned import world_file
from pipeline.files.disk.atomic import replacing, write_text
from pipeline.lattice.grid import Grid

COLOURS = {
    2: (ColorInterp.gray, ColorInterp.alpha),
    4: (ColorInterp.red, ColorInterp.green, ColorInterp.blue, ColorInterp.alpha),
}
"""Number of bands -> what each is."""
TILE_CELLS = 512
"""Side, in cells, of the tiles of a picture on disk: what is read and written at a time."""
CACHE_BYTES = 64 * 2**20
"""Memory for tiles that GDAL keeps; its own choice, a share of the machine's, has no bound. A PNG is written row by
row: with less than a row of tiles in memory, each tile would be unpacked for each of its rows."""
ROWS_AT_ONCE = TILE_CELLS
"""Rows of a turned picture that are in memory at a time."""


@contextmanager
def _picture(
    path: Path, shape: tuple[int, int], n_bands: int, transform: Affine, crs: str, said: dict[str, str]
) -> Iterator[rasterio.io.DatasetWriter]:
    """A GeoTIFF to be filled, that takes its place when all is written."""
    rows, cols = shape
    profile = {
        "driver": "GTiff",
        "height": rows,
        "width": cols,
        "count": n_bands,
        "dtype": "uint8",
        "crs": crs,
        "transform": transform,
        "tiled": True,
        "blockxsize": TILE_CELLS,
        "blockysize": TILE_CELLS,
        "compress": "deflate",
        "predictor": 2,
        "bigtiff": "if_safer",
    }
    with (
        rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES),
        replacing(path) as part,
        rasterio.open(part, "w", **profile) as target,
    ):
        target.colorinterp = COLOURS[n_bands]
        target.update_tags(**said)
        yield target


def write_backdrop(
    path: Path, parts: Iterator[tuple[Bands, Grid]], grid: Grid, /, *, n_bands: int, said: dict[str, str]
) -> None:
    """Write a picture part by part."""
    with _picture(path, grid.shape, n_bands, grid.transform, grid.crs, said) as target:
        for bands, part in parts:
            target.write(bands, window=Window.from_slices(*grid.window_of(part)))


def write_turned(source: Path, path: Path, transform: Affine, shape: tuple[int, int], /) -> None:
    """Write a picture anew on cells that lie otherwise."""
    rows, cols = shape
    with rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES), rasterio.open(source) as whole:
        place = {"crs": whole.crs, "transform": transform, "height": rows, "width": cols}
        tags = {key: words for key, words in whole.tags().items() if key != "AREA_OR_POINT"}
        with (
            WarpedVRT(whole, **place, resampling=Resampling.bilinear) as turned,
            _picture(path, shape, whole.count, transform, whole.crs.to_wkt(), tags) as target,
        ):
            for first in range(0, rows, ROWS_AT_ONCE):
                window = Window(0, first, cols, min(ROWS_AT_ONCE, rows - first))
                target.write(turned.read(window=window), window=window)


def write_png_beside(tif: Path, /) -> None:
    """Write the same picture as a PNG, with its world file and, for programs that ask, its coordinate system.

    GDAL looks for a world file `.pgw` beside a PNG, and for a `.png.aux.xml` with what the world file cannot say.
    """
    # No file of GDAL's own beside it: it would keep the name that the PNG has only while it is written.
    with rasterio.Env(GDAL_PAM_ENABLED=False, GDAL_CACHEMAX=CACHE_BYTES), rasterio.open(tif) as source:
        transform, crs = source.transform, source.crs
        with replacing(tif.with_suffix(".png")) as part:
            rasterio.shutil.copy(source, part, driver="PNG")
    write_text(tif.with_suffix(".pgw"), world_file(transform))
    write_text(tif.with_suffix(".png.aux.xml"), f"<PAMDataset><SRS>{escape(crs.to_wkt())}</SRS></PAMDataset>\n")
