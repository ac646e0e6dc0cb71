"""Coordinate systems that older tiles spell out in GeoTIFF keys instead of naming a code."""

from __future__ import annotations

import struct
import warnings
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.io import MemoryFile

# Types of TIFF values (TIFF 6.0, section 2).
_ASCII, _SHORT, _LONG, _DOUBLE = 2, 3, 4, 12
_ENTRY_BYTES = 12
# Tags of the keys, of their double values and of their texts (OGC GeoTIFF 1.1, clause 7.1).
_DIRECTORY, _DOUBLES, _TEXTS = 34735, 34736, 34737


def short_keys(directory: bytes, /) -> Mapping[int, int]:
    """The short values of a GeoTIFF key directory, by key number; a directory cut short gives what is there.

    Source: OGC GeoTIFF 1.1 (OGC 19-008r4), clause 7.1.
    """
    return {int(key): int(value) for key, place, _, value in _entries(directory) if place == 0 and key > 0}


def _entries(directory: bytes) -> NDArray[np.uint16]:
    """(n, 4) key, where its value is, how many there are, and the value or its place."""
    table: NDArray[np.uint16] = np.frombuffer(directory[: len(directory) // 8 * 8], "<u2").reshape(-1, 4)
    return table[1 : 1 + int(table[0, 3])] if len(table) else table


def wkt_of_keys(directory: bytes, doubles: bytes, texts: bytes, /) -> str | None:
    """The CRS that GeoTIFF keys spell out, as well-known text; None where GDAL makes nothing of them.

    GDAL reads such keys in a TIFF only, so they are handed over in the smallest one there can be, in memory.

    Parameters
    ----------
    directory, doubles, texts : bytes
        Content of the records 34735, 34736 and 34737 of a LAS file.
    """
    entries = _entries(directory)
    entries = entries[entries[:, 0] > 0]
    head = np.array([[1, 1, 0, len(entries)]], np.uint16)
    keys = np.vstack((head, entries[np.argsort(entries[:, 0], kind="stable")])).astype("<u2").tobytes()
    image = _smallest_tiff(keys, doubles[: len(doubles) // 8 * 8], texts.replace(b"\0", b"|") + b"\0")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        try:
            with MemoryFile(image) as file, file.open() as dataset:
                return str(dataset.crs.to_wkt()) if dataset.crs else None
        except RasterioError:
            return None


def _smallest_tiff(keys: bytes, doubles: bytes, texts: bytes) -> bytes:
    """A TIFF of one grey pixel that carries GeoTIFF keys (TIFF 6.0, section 4)."""
    plain = [(256, 1), (257, 1), (258, 8), (259, 1), (262, 1), (277, 1), (278, 1)]
    entries = [(tag, _SHORT, 1, struct.pack("<H", value)) for tag, value in plain]
    entries += [(33550, _DOUBLE, 3, struct.pack("<3d", 1, 1, 0)), (33922, _DOUBLE, 6, bytes(48))]
    entries += [(_DIRECTORY, _SHORT, len(keys) // 2, keys), (_TEXTS, _ASCII, len(texts), texts)]
    entries += [(_DOUBLES, _DOUBLE, len(doubles) // 8, doubles)] if doubles else []
    # The pixel comes first behind the directory of tags, then whatever does not fit an entry.
    start = 8 + 2 + (len(entries) + 2) * _ENTRY_BYTES + 4
    entries += [(273, _LONG, 1, struct.pack("<L", start)), (279, _LONG, 1, struct.pack("<L", 1))]
    body, listed = bytearray(2), b""
    for tag, kind, count, value in sorted(entries):
        place = value
        if len(value) > 4:
            place = struct.pack("<L", start + len(body))
            body += value + bytes(len(value) % 2)
        listed += struct.pack("<HHL", tag, kind, count) + place.ljust(4, b"\0")
    return b"II*\0" + struct.pack("<LH", 8, len(entries)) + listed + bytes(4) + bytes(body)
