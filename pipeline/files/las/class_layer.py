"""Exchanging the classes of a compressed tile and leaving all else of it compressed as it is.

In point formats 6 to 10 a compressed chunk holds each field of its points in a layer of its own, so that the classes
can be replaced without decoding intensities or times: writing a tile back takes half the time of compressing it anew.
How classes are compressed depends on the return number and the scanner channel of each point, and the header gives
extent and counts of returns. Whoever has decoded the tile before can keep these (`Beside`), two bytes a point; else
they and the places are decoded.

Source: the LAZ specification 1.4 (2022), on layered chunks.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import BinaryIO, Self

import laspy
import lazrs
import numpy as np
from laspy.vlrs.known import LasZipVlr
from numpy.typing import NDArray

from pipeline.files.las.guard import Claims, compression, n_layers

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
# Returns of a pulse that a header of LAS 1.4 counts (LAS 1.4 R15, table 3).
_MOST_COUNTED = 15


@dataclass(frozen=True)
class Beside:
    """What must be known of n points, beside their new classes, to exchange the classes of their tile.

    Attributes
    ----------
    returns, flags : (n,) uint8
        The bytes of each point that hold its return numbers, and its flags and scanner channel (LAS 1.4 R15, table 15).
    extent : (2, 3) int64
        Lowest and highest x, y and z, in the whole numbers of the file.
    counts : (15,) int64
        First, second, ... returns.
    """

    returns: NDArray[np.uint8]
    flags: NDArray[np.uint8]
    extent: NDArray[np.int64]
    counts: NDArray[np.int64]

    @classmethod
    def of(cls, points: laspy.ScaleAwarePointRecord, /) -> Self:
        """What is to be known of points of format 6 to 10, at least one."""
        places = [points.array[axis] for axis in "XYZ"]
        number = np.bincount(points.array["bit_fields"] & 15, minlength=_MOST_COUNTED + 1)
        return cls(
            np.ascontiguousarray(points.array["bit_fields"]),
            np.ascontiguousarray(points.array["classification_flags"]),
            np.array([[of.min() for of in places], [of.max() for of in places]], np.int64),
            number[1:].astype(np.int64),
        )

    @classmethod
    def joined(cls, parts: Sequence[Beside], /) -> Self:
        """That of several pieces of a tile, at least one, in their order."""
        extents = np.stack([part.extent for part in parts])
        return cls(
            np.concatenate([part.returns for part in parts]),
            np.concatenate([part.flags for part in parts]),
            np.stack((extents[:, 0].min(axis=0), extents[:, 1].max(axis=0))),
            np.sum([part.counts for part in parts], axis=0),
        )

    def tell(self, header: laspy.LasHeader, /) -> None:
        """Write extent and counts into a header."""
        header.partial_reset()
        header.mins, header.maxs = self.extent * header.scales + header.offsets
        header.number_of_points_by_return = self.counts.astype(np.uint64)
        header.point_count = len(self.returns)


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
    header: laspy.LasHeader,
    asprs_class: NDArray[np.uint8],
    beside: Beside,
    /,
    *,
    claims: Claims,
    chunks: list[tuple[int, int]],
) -> None:
    """Write header, records and points of a tile that `is_exchangeable`, with other classes.

    Parameters
    ----------
    target, source : open files
        Where to write, and the tile.
    header : to be written, its extent and counts worked out anew
    asprs_class : (n,) uint8
    beside : of the n points
    chunks : points and bytes of the tile's chunks
    """
    record = compression(claims)
    beside.tell(header)
    header.are_points_compressed = True
    header.vlrs.append(LasZipVlr(record))
    header.write_to(target, encoding_errors=ODD_LETTERS)
    points_offset, table = target.tell(), []
    target.write(struct.pack("<q", -1))
    for count, chunk in _exchanged(source, asprs_class, beside, claims=claims, chunks=chunks):
        target.write(chunk)
        table.append((count, len(chunk)))
    table_place = target.tell()
    lazrs.write_chunk_table(target, table, lazrs.LazVlr(record))
    target.seek(points_offset)
    target.write(struct.pack("<q", table_place))
    target.seek(0, io.SEEK_END)


def _exchanged(
    source: BinaryIO,
    asprs_class: NDArray[np.uint8],
    beside: Beside,
    /,
    *,
    claims: Claims,
    chunks: list[tuple[int, int]],
) -> Iterator[tuple[int, bytes]]:
    """Points and bytes of every chunk with its new classes."""
    place, start = claims.points_offset + _PLACE_BYTES, 0
    for count, size in chunks:
        these = slice(start, start + count)
        layer = _class_layer(asprs_class[these], beside.returns[these], beside.flags[these])
        source.seek(place)
        chunk = source.read(size)
        yield count, _with_classes(chunk, layer, int(asprs_class[start]), claims)
        place, start = place + size, start + count


def _class_layer(asprs_class: NDArray[np.uint8], returns: NDArray[np.uint8], flags: NDArray[np.uint8]) -> bytes:
    """The compressed classes of a chunk: those of points with these classes that are 0 in all that does not matter."""
    bare = np.zeros((len(asprs_class), _POINT_BYTES), np.uint8)
    bare[:, _RETURNS_AT] = returns
    bare[:, _FLAGS_AT] = flags
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
