"""Reading lidar tiles (LAS, LAZ, COPC; point formats 0 to 10) and writing them back with their classes.

A tile is decoded once: into a `Cloud` in metres of the working CRS, and into `Records`, the very bytes of the file,
from which the same points in the same order are written again with nothing but the classes changed.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import laspy
import lazrs
import numpy as np
from numpy.typing import NDArray

from pipeline.coordinates import Placement, bounds_in_working, to_working
from pipeline.errors import SurveyError
from pipeline.files.atomic import replacing
from pipeline.files.las_header import (
    Record,
    parse_header,
    read_extended_records,
    read_fixed_part,
    read_records,
)
from pipeline.files.laz_chunks import check_chunks, decoding
from pipeline.grid import Bounds, Mask
from pipeline.points.cloud import Cloud
from pipeline.points.duplicates import find_duplicates
from pipeline.settings import SurveySettings
from pipeline.tiles import TileHeader, bounds_without_strays

# Steps of the scan angle in formats 6 to 10 (LAS 1.4 R15, table 18).
_SCAN_ANGLE_STEP_DEG = 0.006
# Classes that formats 0 to 5 use for flags: 12 overlap (LAS 1.4 R15, table 9).
_LEGACY_OVERLAP_CLASS = 12
# Formats 0 to 5 keep the class in five bits.
_LEGACY_CLASS_BITS = 0x1F
_HASH_BYTES = 2**20
_EDGE_M = 1.0
# Farther than twice around the Earth is no place (arithmetic); NaN and infinity are none either.
_MOST_PLACE_M = 1e8
# Points of one stretch of a sample: the usual chunk of a compressed tile, some 100 m of a flight line.
_STRETCH_POINTS = 50_000
# A look at a tile: enough to see that its header speaks of another place, and done in milliseconds.
_LOOK_POINTS = 2000
# A tile with more of its points outside its bounds than this is not a tile with strays but a wrong header.
_MOST_STRAYS = 0.01


@dataclass(frozen=True)
class Records:
    """A tile as it was, ready to be written again.

    Attributes
    ----------
    head : bytes
        Everything before the points: header and variable length records.
    tail : bytes
        The extended records after the points, without those that speak of places in the file.
    points : (n,) structured array
        The point records, one field a column, extra bytes included.
    """

    head: bytes
    tail: bytes
    points: NDArray[np.void]


# ---------------------------------------------------------------- headers


def read_header(path: Path, /) -> TileHeader:
    """The header of a tile, every claim in it held against the size of the file.

    Raises
    ------
    SurveyError
        If the file cannot be read, is no LAS or LAZ file, or is damaged: names the file and what to do.
    """
    with _opened(path) as source:
        return parse_header(source, path, path.stat().st_size)


def checksum(path: Path, /) -> str:
    """SHA-256 of a file, in hexadecimal."""
    digest = hashlib.sha256()
    with _opened(path) as source:
        while piece := source.read(_HASH_BYTES):
            digest.update(piece)
    return digest.hexdigest()


@contextmanager
def _opened(path: Path) -> Iterator[BinaryIO]:
    try:
        with path.open("rb") as source:
            yield source
    except OSError as error:
        raise SurveyError(f"{path}: cannot be read ({error.strerror or error})") from error


# ---------------------------------------------------------------- points


def read_cloud(path: Path, placement: Placement, /, *, usable_bounds: Bounds | None = None) -> tuple[Cloud, Records]:
    """All points of a tile, decoded once.

    Withheld and synthetic points, virtual ones (return number 0 in formats that number them), repeated ones and strays
    outside `usable_bounds` are kept, so that nothing is lost when the tile is written again, but are not usable.

    Parameters
    ----------
    usable_bounds : west, south, east, north in metres of the working CRS, or None for no limit.

    Returns
    -------
    cloud : Cloud of length n, in the working CRS and metres
    records : Records of the same points in the same order

    Raises
    ------
    SurveyError
        If the file is damaged.
    """
    header = read_header(path)
    with _opened(path) as source:
        points = _decode(source, header)
        head, tail = _surroundings(source, header)
    cloud = cloud_of(points, header, placement)
    usable = cloud.is_usable & ~find_duplicates(cloud)
    if usable_bounds is not None:
        usable &= ~_strays(cloud, usable_bounds, path)
    return _with_usable(cloud, usable), Records(head, tail, points)


def _strays(cloud: Cloud, bounds: Bounds, path: Path) -> Mask:
    strays = _outside(cloud, bounds)
    if strays.sum() > _MOST_STRAYS * len(cloud):
        raise SurveyError(
            f"{path}: {strays.sum():,} of its {len(cloud):,} points lie outside the extent it claims. "
            "Its header is wrong; export the tile again."
        )
    return strays


def _with_usable(cloud: Cloud, usable: Mask) -> Cloud:
    return Cloud(**{**vars(cloud), "is_usable": usable})


def cloud_of(points: NDArray[np.void], header: TileHeader, placement: Placement, /) -> Cloud:
    """Point records as a cloud in the working CRS and metres; repeated points are not looked for.

    Raises
    ------
    SurveyError
        If coordinates turn out not to be finite.
    """
    x, y, z = (
        points[axis] * scale + offset for axis, scale, offset in zip("XYZ", header.scales, header.offsets, strict=True)
    )
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
        number, total, kind = bits & 0x07, bits >> 3 & 0x07, packed & _LEGACY_CLASS_BITS
        unusable, overlap = (packed & 0xA0) != 0, kind == _LEGACY_OVERLAP_CLASS
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


def _decode(source: BinaryIO, header: TileHeader) -> NDArray[np.void]:
    """All point records of a tile."""
    layout = _layout(header.point_format, header.record_bytes)
    raw = bytearray(header.n_points * layout.itemsize)
    source.seek(header.points_offset)
    if not header.is_compressed:
        source.readinto(raw)  # type: ignore[attr-defined]
    elif header.n_points:
        decoder, _ = _decoder(source, header, parallel=True)
        with decoding(header.path):
            decoder.decompress_many(raw)
    return np.frombuffer(raw, layout)


def _layout(point_format: int, record_bytes: int) -> np.dtype[np.void]:
    """The layout of one point record: the standard fields, and all extra bytes as one."""
    standard = laspy.PointFormat(point_format).dtype()
    n_extra = record_bytes - standard.itemsize
    fields = [(name, standard.fields[name][0]) for name in standard.names]
    return np.dtype([*fields, ("extra_bytes", "u1", (n_extra,))] if n_extra else fields)


def _decoder(
    source: BinaryIO, header: TileHeader, *, parallel: bool
) -> tuple[lazrs.ParLasZipDecompressor | lazrs.LasZipDecompressor, int]:
    """A decoder of a compressed tile, placed at its first point, and the points of a chunk (0 where they vary)."""
    head = read_fixed_part(source, header.path, header.n_bytes)
    records = read_records(source, head, header.path, header.n_bytes)
    how = next(record.content for record in records if record.user == "laszip encoded")
    kind = lazrs.ParLasZipDecompressor if parallel else lazrs.LasZipDecompressor
    with decoding(header.path):
        layout = lazrs.LazVlr(how)
        if layout.item_size() != header.record_bytes:
            raise lazrs.LazrsError("its records are not as long as its header says")
        check_chunks(source, header, layout)
        source.seek(header.points_offset)
        return kind(source, how), 0 if layout.uses_variable_size_chunks() else layout.chunk_size()


# ---------------------------------------------------------------- a sample


def sample_points(path: Path, placement: Placement, /, *, n_points: int) -> Cloud:
    """A sample of a tile's points: short stretches of the file, spread evenly over it.

    A compressed tile can be entered only where a chunk begins, so the time grows with the sample and not with the tile.

    Parameters
    ----------
    n_points : int
        Size of the sample; a tile with no more points is read whole.
    """
    header = read_header(path)
    with _opened(path) as source:
        if header.n_points <= n_points:
            return cloud_of(_decode(source, header), header, placement)
        length = max(1, min(_STRETCH_POINTS, n_points // 20))
        starts = np.linspace(0, header.n_points - length, n_points // length).astype(int)
        read = _stretches_compressed if header.is_compressed else _stretches_plain
        return cloud_of(read(source, header, starts, length), header, placement)


def _stretches_plain(source: BinaryIO, header: TileHeader, starts: NDArray[np.int_], length: int) -> NDArray[np.void]:
    layout, pieces = _layout(header.point_format, header.record_bytes), []
    for start in starts:
        source.seek(header.points_offset + int(start) * layout.itemsize)
        pieces.append(np.frombuffer(source.read(length * layout.itemsize), layout))
    return np.concatenate(pieces)


def _stretches_compressed(
    source: BinaryIO, header: TileHeader, starts: NDArray[np.int_], length: int
) -> NDArray[np.void]:
    """Stretches from the beginnings of the chunks nearest before the starts."""
    layout, pieces = _layout(header.point_format, header.record_bytes), []
    decoder, chunk_points = _decoder(source, header, parallel=False)
    for start in np.unique(starts // chunk_points * chunk_points) if chunk_points else starts:
        raw = bytearray(min(length, header.n_points - int(start)) * layout.itemsize)
        with decoding(header.path):
            decoder.seek(int(start))
            decoder.decompress_many(raw)
        pieces.append(np.frombuffer(raw, layout))
    return np.concatenate(pieces)


# ---------------------------------------------------------------- where the points are


def points_bounds(path: Path, placement: Placement, /, *, settings: SurveySettings) -> Bounds:
    """Where the points of a tile are: west, south, east, north in metres of the working CRS.

    The header is believed unless a look at the points shows it to be wrong, or it speaks of so much ground that a few
    stray points must lie far away. Then the tile is read once more and the strays are left out.
    """
    header = read_header(path)
    claimed = bounds_in_working(header.bounds, placement)
    few = sample_points(path, placement, n_points=_LOOK_POINTS)
    area_m2 = (claimed[2] - claimed[0]) * (claimed[3] - claimed[1])
    is_sparse = area_m2 > header.n_points * settings.sparse_m2_per_point
    if not is_sparse and not _outside(few, claimed).any():
        return claimed
    with _opened(path) as source:
        cloud = cloud_of(_decode(source, header), header, placement)
    return bounds_without_strays(cloud.east, cloud.north, gap_m=settings.stray_gap_m)


def _outside(cloud: Cloud, bounds: Bounds) -> Mask:
    """(n,) bool: which points lie more than a metre outside: reprojecting a rectangle and rounding explain less."""
    west, south, east, north = bounds
    outside: Mask = (
        (cloud.east < west - _EDGE_M)
        | (cloud.east > east + _EDGE_M)
        | (cloud.north < south - _EDGE_M)
        | (cloud.north > north + _EDGE_M)
    )
    return outside


# ---------------------------------------------------------------- writing


def write_classified(path: Path, records: Records, asprs_class: NDArray[np.uint8], /) -> None:
    """Write a tile again as LAZ: the same points in the same order, every field kept, the classes replaced.

    The header stays as it was, its date too, so that equal input gives equal bytes.

    Parameters
    ----------
    asprs_class : (n,) uint8
        New class of each point; at most 31 for point formats 0 to 5, which keep it in five bits.

    Raises
    ------
    ValueError
        If there are not as many classes as points, or one does not fit the point format.
    """
    points = _with_classes(records.points, asprs_class)
    point_format = records.head[104] & 0x3F
    n_extra = points.dtype.itemsize - laspy.PointFormat(point_format).size
    how = lazrs.LazVlr.new_for_compression(point_format, n_extra)
    with replacing(path) as part, part.open("wb") as target:
        target.write(_compressed_head(records.head, how.record_data()))
        compressor = lazrs.ParLasZipCompressor(target, how)
        if len(points):
            compressor.compress_many(points.view(np.uint8))
        compressor.done()
        if records.tail:
            target.seek(0, 2)
            place = target.tell()
            target.write(records.tail)
            target.seek(235)
            target.write(struct.pack("<Q", place))


def _with_classes(points: NDArray[np.void], asprs_class: NDArray[np.uint8]) -> NDArray[np.void]:
    """A copy of the points with their classes replaced; flags that share a byte with the class stay."""
    if len(asprs_class) != len(points):
        raise ValueError(f"{len(asprs_class)} classes for {len(points)} points")
    changed = points.copy()
    if "raw_classification" in (points.dtype.names or ()):
        if len(asprs_class) and asprs_class.max() > _LEGACY_CLASS_BITS:
            raise ValueError(f"class {asprs_class.max()} does not fit a point format below 6")
        changed["raw_classification"] = points["raw_classification"] & 0xE0 | asprs_class
    else:
        changed["classification"] = asprs_class
    return changed


def _surroundings(source: BinaryIO, header: TileHeader) -> tuple[bytes, bytes]:
    """The bytes before the points, and the extended records after them that hold wherever they stand."""
    source.seek(0)
    head = source.read(header.points_offset)
    extended = read_extended_records(source, head, header.path, header.n_bytes)
    kept = [record for record in extended if not _speaks_of_places(record)]
    changed = bytearray(head)
    if header.version >= "1.3":
        struct.pack_into("<Q", changed, 227, 0)  # where the wave forms begin
    if header.version >= "1.4":
        struct.pack_into("<QI", changed, 235, 0, len(kept))
    return bytes(changed), b"".join(map(_as_extended, kept))


def _speaks_of_places(record: Record) -> bool:
    """Whether a record points into the file it came from: a COPC index, or packed wave forms (LAS 1.4 R15, 65535)."""
    return record.user == "copc" or (record.user == "LASF_Spec" and record.number == 65535)


def _as_extended(record: Record) -> bytes:
    start = struct.pack("<H16sHQ32s", 0, record.user.encode("latin-1"), record.number, len(record.content), b"")
    return start + record.content


def _compressed_head(head: bytes, how: bytes) -> bytes:
    """The bytes before the points with the record that tells how they are compressed put in place of an old one."""
    header_bytes, _, count = struct.unpack_from("<HII", head, 94)
    kept, position = [], header_bytes
    for _ in range(count):
        end = position + 54 + struct.unpack_from("<H", head, position + 20)[0]
        user = head[position + 2 : position + 18].rstrip(b"\0")
        if user not in (b"laszip encoded", b"copc"):
            kept.append(head[position:end])
        position = end
    kept.append(struct.pack("<H16sHH32s", 0, b"laszip encoded", 22204, len(how), b"") + how)
    body = b"".join(kept)
    new = bytearray(head[:header_bytes] + body)
    struct.pack_into("<II", new, 96, header_bytes + len(body), len(kept))
    new[104] = head[104] & 0x3F | 0x80
    return bytes(new)


# ---------------------------------------------------------------- records between steps


def save_records(folder: Path, records: Records, /) -> None:
    """Lay the records of a tile down in a folder for a later step."""
    np.save(folder / "points.npy", records.points.view(f"V{records.points.dtype.itemsize}"))
    (folder / "head.bin").write_bytes(records.head)
    (folder / "tail.bin").write_bytes(records.tail)


def load_records(folder: Path, /) -> Records:
    """The records that `save_records` laid down."""
    head = (folder / "head.bin").read_bytes()
    raw = np.load(folder / "points.npy")
    return Records(head, (folder / "tail.bin").read_bytes(), raw.view(_layout(head[104] & 0x3F, raw.dtype.itemsize)))
