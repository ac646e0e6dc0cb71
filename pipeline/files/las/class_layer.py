"""Exchanging the classes of a compressed tile and leaving all else of it compressed as it is.

In point formats 6 to 10 a compressed chunk holds each field of its points in a layer of its own, so that the classes
can be replaced without decoding intensities or times: writing a tile back takes half the time of compressing it anew.
How classes are compressed depends on the return number and the scanner channel of each point, and the header gives
extent and counts of returns, so these and the places are decoded.

Source: the LAZ specification 1.4 (2022), on layered chunks.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from typing import BinaryIO

import laspy
import lazrs
import numpy as np
from laspy.vlrs.known import LasZipVlr
from numpy.typing import NDArray

from pipeline.files.las.guard import Claims, compression, decoding, n_layers

NEEDED = laspy.DecompressionSelection.XY_RETURNS_CHANNEL | laspy.DecompressionSelection.Z
"""What must be decoded of the points."""
MOST_CHUNK_POINTS = 2_000_000
"""Points of a chunk above which a tile is compressed anew, piece by piece: a chunk is held in memory whole."""
ODD_LETTERS = "surrogateescape"
"""What laspy does with words of a header that are not ASCII: they stay as they are."""

# Bytes of a point of format 6, and where in every point of formats 6 to 10 its return numbers, flags and class stand
# (LAS 1.4 R15, tables 15 and 16).
_POINT_BYTES, _RETURNS_AT, _FLAGS_AT, _CLASS_AT = 30, 14, 15, 16
# Layers of the fields of format 6, which are the first in other formats too, and the place of the classes among them.
_LAYERS, _CLASS_LAYER = 9, 2
# Before the first chunk stands the place of the table of chunks.
_PLACE_BYTES = 8


def is_exchangeable(header: laspy.LasHeader, claims: Claims, chunks: list[tuple[int, int]], /) -> bool:
    """Whether the classes of a tile can be exchanged: layered, in chunks of one length that fit into memory.

    LAS 1.5 gives the first and last time in its header, for which all times would have to be decoded.
    """
    return (
        bool(chunks)
        and claims.point_format >= 6
        and header.version.minor == 4
        and max(count for count, _ in chunks) <= MOST_CHUNK_POINTS
        and not lazrs.LazVlr(compression(claims)).uses_variable_size_chunks()
    )


def write_exchanged(
    target: BinaryIO,
    source: BinaryIO,
    reader: laspy.LasReader,
    header: laspy.LasHeader,
    asprs_class: NDArray[np.uint8],
    /,
    *,
    claims: Claims,
    chunks: list[tuple[int, int]],
) -> None:
    """Write header, records and points of a tile that `is_exchangeable`, with other classes.

    Parameters
    ----------
    target, source : open files
        Where to write, and the tile; not the file object that the reader reads.
    reader : placed at the first point of the tile, decoding at least `NEEDED`
    header : to be written, its extent and counts worked out anew
    asprs_class : (n,) uint8
    chunks : points and bytes of the tile's chunks
    """
    record = compression(claims)
    header.partial_reset()
    header.are_points_compressed = True
    header.vlrs.append(LasZipVlr(record))
    header.write_to(target, encoding_errors=ODD_LETTERS)
    points_offset, table = target.tell(), []
    target.write(struct.pack("<q", -1))
    for count, chunk in _exchanged(source, reader, header, asprs_class, claims=claims, chunks=chunks):
        target.write(chunk)
        table.append((count, len(chunk)))
    table_place = target.tell()
    lazrs.write_chunk_table(target, table, lazrs.LazVlr(record))
    target.seek(points_offset)
    target.write(struct.pack("<q", table_place))
    target.seek(0, io.SEEK_END)


def _exchanged(
    source: BinaryIO,
    reader: laspy.LasReader,
    header: laspy.LasHeader,
    asprs_class: NDArray[np.uint8],
    /,
    *,
    claims: Claims,
    chunks: list[tuple[int, int]],
) -> Iterator[tuple[int, bytes]]:
    """Points and bytes of every chunk with its new classes; the header grows by the points."""
    place, start = claims.points_offset + _PLACE_BYTES, 0
    for count, size in chunks:
        with decoding(claims.path):
            points = reader.read_points(count)
        header.grow(points)
        layer = _class_layer(points, asprs_class[start : start + count])
        source.seek(place)
        chunk = source.read(size)
        yield count, _with_classes(chunk, layer, int(asprs_class[start]), claims)
        place, start = place + size, start + count


def _class_layer(points: laspy.ScaleAwarePointRecord, asprs_class: NDArray[np.uint8]) -> bytes:
    """The compressed classes of a chunk: those of points with these classes that are 0 in all that does not matter."""
    bare = np.zeros((len(points), _POINT_BYTES), np.uint8)
    bare[:, _RETURNS_AT] = points.array["bit_fields"]
    bare[:, _FLAGS_AT] = points.array["classification_flags"]
    bare[:, _CLASS_AT] = asprs_class
    made = io.BytesIO()
    compressor = lazrs.LasZipCompressor(made, lazrs.LazVlr.new_for_compression(6, 0, True))
    compressor.compress_many(bare.ravel())
    compressor.done()
    chunk = made.getvalue()[_PLACE_BYTES:]
    begin, end = _class_bounds(chunk, _POINT_BYTES, _LAYERS)
    return chunk[begin:end]


def _with_classes(chunk: bytes, layer: bytes, first_class: int, claims: Claims) -> bytes:
    """A chunk with other classes: that of its first point, which stands as it is, and the layer of the others."""
    begin, end = _class_bounds(chunk, claims.record_bytes, n_layers(claims))
    made = bytearray(chunk[:begin] + layer + chunk[end:])
    made[_CLASS_AT] = first_class
    struct.pack_into("<I", made, claims.record_bytes + 4 * (1 + _CLASS_LAYER), len(layer))
    return bytes(made)


def _class_bounds(chunk: bytes, record_bytes: int, n_layers: int) -> tuple[int, int]:
    """Where in a chunk the layer of the classes begins and ends.

    A chunk begins with its first point as it is, the number of points, and the size of every layer.
    """
    sizes = struct.unpack_from(f"<{n_layers}I", chunk, record_bytes + 4)
    begin = record_bytes + 4 + 4 * n_layers + sum(sizes[:_CLASS_LAYER])
    return begin, begin + sizes[_CLASS_LAYER]
