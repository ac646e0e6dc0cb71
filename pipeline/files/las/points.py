"""Point records of LAS and LAZ files: decoding them, and what their bits mean as a cloud in metres."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

import laspy
import lazrs
import numpy as np
from numpy.typing import NDArray

from pipeline.errors import SurveyError
from pipeline.files.las.chunks import decoding, read_chunks
from pipeline.files.las.header import read_fixed_part, read_records
from pipeline.intake.coordinates import Placement, to_working
from pipeline.intake.tiles import TileHeader
from pipeline.lattice.grid import Mask
from pipeline.returns.asprs import OVERLAP
from pipeline.returns.cloud import Cloud

LEGACY_CLASS_BITS = 0x1F
"""Formats 0 to 5 keep the class in five bits (LAS 1.4 R15, table 8)."""
# Steps of the scan angle in formats 6 to 10 (LAS 1.4 R15, table 18).
_SCAN_ANGLE_STEP_DEG = 0.006
# Farther than twice around the Earth is no place (arithmetic); NaN and infinity are none either.
_MOST_PLACE_M = 1e8
# Points in a chunk as compressors commonly make it: some 100 m of a flight line.
_CHUNK_POINTS = 50_000


# ---------------------------------------------------------------- bytes to records


def record_layout(point_format: int, record_bytes: int, /) -> np.dtype[np.void]:
    """The layout of one point record: the standard fields, and all extra bytes as one."""
    standard = laspy.PointFormat(point_format).dtype()
    n_extra = record_bytes - standard.itemsize
    fields = [(name, standard.fields[name][0]) for name in standard.names]
    return np.dtype([*fields, ("extra_bytes", "u1", (n_extra,))] if n_extra else fields)


def decode(source: BinaryIO, header: TileHeader, /) -> NDArray[np.void]:
    """(n,) all point records of a tile.

    Raises
    ------
    SurveyError
        If the file is damaged.
    """
    pieces = [points for _, points in decode_pieces(source, header, n_points=max(1, header.n_points))]
    return pieces[0] if pieces else np.empty(0, record_layout(header.point_format, header.record_bytes))


def decode_pieces(source: BinaryIO, header: TileHeader, /, *, n_points: int) -> Iterator[tuple[int, NDArray[np.void]]]:
    """The point records of a tile, `n_points` at a time, each piece with the place of its first point.

    Raises
    ------
    SurveyError
        If the file is damaged.
    """
    if header.n_points == 0:
        return
    layout = record_layout(header.point_format, header.record_bytes)
    decoder = _decoder(source, header) if header.is_compressed else None
    if decoder is None:
        source.seek(header.points_offset)
    for start in range(0, header.n_points, n_points):
        raw = bytearray(min(n_points, header.n_points - start) * layout.itemsize)
        if decoder is None:
            source.readinto(raw)  # type: ignore[attr-defined]
        else:
            with decoding(header.path):
                decoder.decompress_many(raw)
        yield start, np.frombuffer(raw, layout)


def _decoder(source: BinaryIO, header: TileHeader) -> lazrs.ParLasZipDecompressor:
    """A decoder placed at the first point of a compressed tile, its chunks checked."""
    how = _compression(source, header)
    read_chunks(source, header, how)
    source.seek(header.points_offset)
    with decoding(header.path):
        return lazrs.ParLasZipDecompressor(source, how)


def decode_some(source: BinaryIO, header: TileHeader, /, *, n_points: int) -> NDArray[np.void]:
    """About `n_points` point records in whole chunks spread evenly over a tile, at least one chunk."""
    layout = record_layout(header.point_format, header.record_bytes)
    if not header.is_compressed:
        return _some_plain(source, header, layout, n_points)
    if header.n_points == 0:
        return np.empty(0, layout)
    how = _compression(source, header)
    chunks = read_chunks(source, header, how)
    wanted = _evenly(len(chunks), n_points * len(chunks) // header.n_points)
    starts = header.points_offset + 8 + np.cumsum([0, *(size for _, size in chunks)])
    pieces = []
    for index in wanted:
        source.seek(int(starts[index]))
        pieces.append(source.read(chunks[index][1]))
    table = [chunks[index] for index in wanted]
    raw = bytearray(sum(count for count, _ in table) * layout.itemsize)
    with decoding(header.path):
        lazrs.decompress_points_with_chunk_table(b"".join(pieces), how, raw, table)
    return np.frombuffer(raw, layout)


def _some_plain(source: BinaryIO, header: TileHeader, layout: np.dtype[np.void], n_points: int) -> NDArray[np.void]:
    """The same of a tile that is not compressed: stretches as long as the usual chunk."""
    n_stretches = math.ceil(header.n_points / _CHUNK_POINTS)
    pieces = []
    for index in _evenly(n_stretches, n_points // _CHUNK_POINTS):
        source.seek(header.points_offset + index * _CHUNK_POINTS * layout.itemsize)
        count = min(_CHUNK_POINTS, header.n_points - index * _CHUNK_POINTS)
        pieces.append(np.frombuffer(source.read(count * layout.itemsize), layout))
    return np.concatenate(pieces) if pieces else np.empty(0, layout)


def _evenly(n_all: int, n_wanted: int) -> list[int]:
    """At least one and at most all of the numbers below `n_all`, evenly spread."""
    n_wanted = min(n_all, max(1, n_wanted))
    return [(2 * index + 1) * n_all // (2 * n_wanted) for index in range(n_wanted)]


def _compression(source: BinaryIO, header: TileHeader) -> bytes:
    """The record that says how a tile is compressed."""
    head = read_fixed_part(source, header.path, header.n_bytes)
    records = read_records(source, head, header.path, header.n_bytes)
    return next(record.content for record in records if record.user == "laszip encoded")


# ---------------------------------------------------------------- records to a cloud


def cloud_of(points: NDArray[np.void], header: TileHeader, placement: Placement, /) -> Cloud:
    """Point records as a cloud in the working CRS and metres; repeated points are not looked for.

    Raises
    ------
    SurveyError
        If coordinates turn out not to be finite.
    """
    frame = zip("XYZ", header.scales, header.offsets, strict=True)
    with np.errstate(over="ignore", invalid="ignore"):  # looked for below
        x, y, z = (points[axis] * scale + offset for axis, scale, offset in frame)
    east, north, height = to_working(x, y, z, placement)
    for places in (east, north, height):
        if not (np.abs(places) < _MOST_PLACE_M).all():
            raise SurveyError(f"{header.path}: some points have no place in {placement.crs}; is the 'crs:' right?")
    flags = _flags_of(points, header)
    names = points.dtype.names or ()
    time = np.nan_to_num(points["gps_time"], nan=0.0, posinf=0.0, neginf=0.0) if "gps_time" in names else None
    angle = points["scan_angle"] * _SCAN_ANGLE_STEP_DEG if "scan_angle" in names else points["scan_angle_rank"]
    return Cloud(
        east=east,
        north=north,
        height=height,
        intensity=np.ascontiguousarray(points["intensity"]),
        return_number=flags.return_number,
        n_returns=flags.n_returns,
        gps_time=time if time is not None else np.zeros(len(points)),
        flight_line=np.ascontiguousarray(points["point_source_id"]),
        scan_angle_deg=np.asarray(angle, np.float32),
        producer_class=flags.producer_class,
        is_usable=flags.is_usable,
        is_overlap=flags.is_overlap,
    )


@dataclass(frozen=True)
class _Flags:
    """What point records keep in single bits, one array a column."""

    return_number: NDArray[np.uint8]
    n_returns: NDArray[np.uint8]
    producer_class: NDArray[np.uint8]
    is_usable: Mask
    is_overlap: Mask


def _flags_of(points: NDArray[np.void], header: TileHeader) -> _Flags:
    """Returns, class and flags of the old formats (LAS 1.4 R15, tables 7 to 9) and the new (tables 15 to 17)."""
    bits = points["bit_fields"]
    if header.point_format < 6:
        packed = points["raw_classification"]
        number, total, kind = bits & 0x07, bits >> 3 & 0x07, packed & LEGACY_CLASS_BITS
        unusable, overlap = (packed & 0xA0) != 0, kind == OVERLAP
    else:
        flags = points["classification_flags"]
        number, total, kind = bits & 0x0F, bits >> 4, np.ascontiguousarray(points["classification"])
        unusable, overlap = (flags & 0x05) != 0, (flags & 0x08) != 0
    # Where the survey numbers its returns, number 0 marks points nobody measured, such as a producer's virtual points.
    if number.any():
        unusable |= number == 0
    # Some software numbers the returns of a pulse but leaves their total at 1.
    total = np.maximum(number, total)
    columns = {"return_number": number, "n_returns": total, "producer_class": kind}
    exact = {name: np.asarray(column, np.uint8) for name, column in columns.items()}
    return _Flags(**exact, is_usable=~unusable, is_overlap=overlap)
