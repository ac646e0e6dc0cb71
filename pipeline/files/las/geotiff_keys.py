"""Coordinate systems that older tiles spell out in GeoTIFF keys instead of naming a code."""

from __future__ import annotations

import io
import warnings
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from PIL.TiffImagePlugin import ImageFileDirectory_v2

# TIFF tags of the keys, of their double values and of their texts, and of what places a picture on the ground: without
# the last two GDAL does not look at keys (OGC GeoTIFF 1.1, clause 7.1).
_DIRECTORY, _DOUBLES, _TEXTS, _CELL_SIZE, _TIE_POINT = 34735, 34736, 34737, 33550, 33922


def short_keys(directory: bytes, /) -> Mapping[int, int]:
    """The short values of a GeoTIFF key directory, by key number; a directory cut short gives what is there.

    Source: OGC GeoTIFF 1.1 (OGC 19-008r4), clause 7.1.
    """
    return {int(key): int(value) for key, place, _, value in _entries(directory) if place == 0}


def _entries(directory: bytes) -> NDArray[np.uint16]:
    """(n, 4) key, where its value is, how many there are, and the value or its place."""
    table: NDArray[np.uint16] = np.frombuffer(directory[: len(directory) // 8 * 8], "<u2").reshape(-1, 4)
    entries = table[1 : 1 + int(table[0, 3])] if len(table) else table
    return entries[entries[:, 0] > 0]


def wkt_of_keys(directory: bytes, doubles: bytes, texts: bytes, /) -> str | None:
    """The CRS that GeoTIFF keys spell out, as well-known text; None where GDAL makes nothing of them.

    GDAL reads such keys in a TIFF only, so they are handed over in one of a single pixel, in memory.

    Parameters
    ----------
    directory, doubles, texts : bytes
        Content of the records 34735, 34736 and 34737 of a LAS file.
    """
    # Few tiles have such keys; the others need not wait for these libraries.
    from PIL import Image
    from PIL.TiffImagePlugin import ImageFileDirectory_v2
    from PIL.TiffTags import ASCII, DOUBLE, SHORT
    from rasterio.errors import NotGeoreferencedWarning, RasterioError
    from rasterio.io import MemoryFile

    entries = _entries(directory)
    sorted_keys = entries[np.argsort(entries[:, 0], kind="stable")]
    tags = ImageFileDirectory_v2()
    _set(tags, _DIRECTORY, SHORT, (1, 1, 0, len(entries), *sorted_keys.ravel().tolist()))
    _set(tags, _TEXTS, ASCII, texts.replace(b"\0", b"|").decode("latin-1"))
    _set(tags, _CELL_SIZE, DOUBLE, (1.0, 1.0, 0.0))
    _set(tags, _TIE_POINT, DOUBLE, (0.0,) * 6)
    if len(doubles) >= 8:
        _set(tags, _DOUBLES, DOUBLE, tuple(np.frombuffer(doubles[: len(doubles) // 8 * 8], "<f8").tolist()))
    image = io.BytesIO()
    Image.new("L", (1, 1)).save(image, "TIFF", tiffinfo=tags)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        try:
            with MemoryFile(image.getvalue()) as file, file.open() as dataset:
                return str(dataset.crs.to_wkt()) if dataset.crs else None
        except RasterioError:
            return None


def _set(tags: ImageFileDirectory_v2, tag: int, kind: int, value: object) -> None:
    tags.tagtype[tag] = kind
    tags[tag] = value
