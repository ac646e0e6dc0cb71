"""What the first bytes of a LAS or LAZ file say, taken apart under a bound.

Nothing a header claims is believed before it has been held against the size of the file: a claim of four thousand
million records costs nothing and is refused.

Source of every position and meaning: ASPRS, LAS Specification 1.4 R15 (2019), tables 3 to 5, 8 and 16 to 26.
"""

from __future__ import annotations

import datetime
import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from pipeline.errors import SurveyError
from pipeline.files.las.geotiff_keys import short_keys, wkt_of_keys
from pipeline.intake.tile_crs import (
    GEOGRAPHIC_KEY,
    PROJECTED_KEY,
    USER_DEFINED,
    TileCrs,
    crs_from_geotiff_keys,
    crs_from_wkt,
)
from pipeline.intake.tile_header import TileHeader
from pipeline.lattice.grid import Bounds

RECORD_BYTES = (20, 28, 26, 34, 57, 63, 30, 36, 38, 59, 67)
"""Smallest point record of the formats 0 to 10."""

_HEADER_BYTES = {0: 227, 1: 227, 2: 227, 3: 235, 4: 375, 5: 375}
_COMPRESSED_BIT = 0x80
_WKT_BIT, _SYNTHETIC_RETURNS_BIT, _ADJUSTED_TIME_BIT = 0x10, 0x08, 0x01
# Real tiles hold their records in well under a megabyte; 64 leaves room for lookup tables and stays harmless.
_MOST_RECORD_BYTES = 64 * 2**20
# The most a laser survey has been squeezed is some twenty times; far more is a false claim (arithmetic, no source).
_MOST_COMPRESSION = 2000


@dataclass(frozen=True)
class Record:
    """A variable length record: who it belongs to, its number, and its content."""

    user: str
    number: int
    content: bytes


def parse_header(source: BinaryIO, path: Path, n_bytes: int, /) -> TileHeader:
    """The header of an open LAS or LAZ file.

    Raises
    ------
    SurveyError
        Naming the file, what is wrong with it, and what to do.
    """
    head = read_fixed_part(source, path, n_bytes)
    records = read_records(source, head, path, n_bytes)
    point_format, record_bytes = head[104] & 0x3F, int(_one("<H", head, 105))
    is_compressed = bool(head[104] & _COMPRESSED_BIT)
    n_points, n_by_return = _counts(head)
    encoding = int(_one("<H", head, 6))
    _check_points(head, records, path, n_bytes)
    if is_compressed:
        _check_chunk_table(source, head, path, n_bytes)
    scales, offsets, bounds, lowest, highest = _frame(head, path, n_points)
    has_time = point_format not in (0, 2)
    return TileHeader(
        path=path,
        version=f"{head[24]}.{head[25]}",
        point_format=point_format,
        n_points=n_points,
        n_by_return=n_by_return,
        record_bytes=record_bytes,
        points_offset=int(_one("<I", head, 96)),
        scales=scales,
        offsets=offsets,
        bounds=bounds,
        lowest=lowest,
        highest=highest,
        crs=_crs_of(records, prefers_wkt=bool(encoding & _WKT_BIT) or point_format >= 6),
        time_kind="none" if not has_time else "adjusted" if encoding & _ADJUSTED_TIME_BIT else "week",
        has_synthetic_returns=bool(encoding & _SYNTHETIC_RETURNS_BIT),
        is_compressed=is_compressed,
        is_copc=any(record.user == "copc" for record in records),
        n_bytes=n_bytes,
        system=_text(head[26:58]),
        software=_text(head[58:90]),
        written=_written(head),
    )


def _broken(path: Path, what: str) -> SurveyError:
    return SurveyError(f"{path}: {what}. The file is damaged or incomplete; download or copy it again.")


def _one(layout: str, head: bytes, position: int) -> int | float:
    value: int | float = struct.unpack_from(layout, head, position)[0]
    return value


def _text(raw: bytes) -> str:
    return raw.split(b"\0")[0].decode("latin-1").strip()


# ---------------------------------------------------------------- the fixed part


def read_fixed_part(source: BinaryIO, path: Path, n_bytes: int, /) -> bytes:
    """The public header block, its own length and version checked."""
    source.seek(0)
    head = source.read(375)
    if head[:4] != b"LASF":
        raise SurveyError(f"{path}: is no LAS or LAZ file (it does not begin with LASF). Name lidar tiles only.")
    if len(head) < 227:
        raise _broken(path, "ends within its header")
    minor, header_bytes, offset = head[25], int(_one("<H", head, 94)), int(_one("<I", head, 96))
    if head[24] != 1 or minor not in _HEADER_BYTES:
        raise SurveyError(f"{path}: is of LAS version {head[24]}.{minor}; Tussock reads 1.0 to 1.5. Convert it to 1.4.")
    if header_bytes == 0 and offset == 0:
        raise _broken(path, "its header was never finished: whatever wrote it stopped half way")
    if header_bytes < _HEADER_BYTES[minor] or len(head) < _HEADER_BYTES[minor]:
        raise _broken(path, f"claims a header of {header_bytes} bytes, too short for version 1.{minor}")
    if not header_bytes <= offset <= n_bytes:
        raise _broken(path, f"claims that its points begin at byte {offset:,}, but has {n_bytes:,} bytes")
    return head


def _counts(head: bytes) -> tuple[int, tuple[int, ...]]:
    """Number of points, and of first, second, ... returns.

    Where a 1.4 header gives two counts that differ and the old one is not zero, the old one holds (LAS 1.4 R15, 2.4).
    """
    legacy, by_return = int(_one("<I", head, 107)), struct.unpack_from("<5I", head, 111)
    if head[25] < 4 or (legacy and head[104] & 0x3F < 6):
        return legacy, by_return
    return int(_one("<Q", head, 247)), struct.unpack_from("<15Q", head, 255)


def _frame(
    head: bytes, path: Path, n_points: int
) -> tuple[tuple[float, float, float], tuple[float, float, float], Bounds, float, float]:
    """Scales, offsets and bounds, all finite and in order."""
    scales = struct.unpack_from("<3d", head, 131)
    offsets = struct.unpack_from("<3d", head, 155)
    east, west, north, south, highest, lowest = struct.unpack_from("<6d", head, 179)
    if not all(math.isfinite(scale) and scale != 0 for scale in scales) or not all(map(math.isfinite, offsets)):
        raise _broken(path, f"its coordinates cannot be worked out (scales {scales}, offsets {offsets})")
    extent = (west, south, east, north, lowest, highest)
    if n_points and not (all(map(math.isfinite, extent)) and west <= east and south <= north and lowest <= highest):
        raise _broken(path, f"its extent is impossible (x {west:g} to {east:g}, y {south:g} to {north:g})")
    return scales, offsets, (west, south, east, north), lowest, highest


def _written(head: bytes) -> datetime.date | None:
    day, year = struct.unpack_from("<2H", head, 90)
    if not (1 <= day <= 366 and 1980 <= year <= 9998):
        return None
    return datetime.date(year, 1, 1) + datetime.timedelta(days=day - 1)


# ---------------------------------------------------------------- the records


def read_records(source: BinaryIO, head: bytes, path: Path, n_bytes: int, /) -> list[Record]:
    """The variable length records before the points, and the small extended ones after them."""
    header_bytes, offset, count = (int(value) for value in struct.unpack_from("<HII", head, 94))
    # A record takes 54 bytes at least (LAS 1.4 R15, table 6).
    if count * 54 > offset - header_bytes:
        raise _broken(path, f"claims {count:,} records where {offset - header_bytes:,} bytes are left for them")
    if offset - header_bytes > _MOST_RECORD_BYTES:
        raise _broken(path, f"claims {offset - header_bytes:,} bytes of records before its points")
    source.seek(header_bytes)
    block = source.read(offset - header_bytes)
    return _split_records(block, count, path) + read_extended_records(source, head, path, n_bytes)


def _split_records(block: bytes, count: int, path: Path) -> list[Record]:
    records, position = [], 0
    for _ in range(count):
        if position + 54 > len(block):
            raise _broken(path, f"claims {count:,} records, but they do not fit before its points")
        number, length = struct.unpack_from("<2H", block, position + 18)
        content = block[position + 54 : position + 54 + length]
        records.append(Record(_text(block[position + 2 : position + 18]), number, content))
        position += 54 + length
    return records


def read_extended_records(source: BinaryIO, head: bytes, path: Path, n_bytes: int, /) -> list[Record]:
    """The extended records after the points; wave forms and other bulk are passed over."""
    if head[25] < 4:
        return []
    position, count = (int(value) for value in struct.unpack_from("<QI", head, 235))
    # A record takes 60 bytes at least (LAS 1.4 R15, table 7).
    if count and (position > n_bytes or count * 60 > n_bytes - position):
        raise _broken(path, f"claims {count:,} records after its points, beyond its end")
    records = []
    for _ in range(count):
        source.seek(position)
        start = source.read(60)
        if len(start) < 60:
            raise _broken(path, "ends within a record after its points")
        number, length = struct.unpack_from("<HQ", start, 18)
        if position + 60 + length > n_bytes:
            raise _broken(path, f"claims a record of {length:,} bytes after its points, beyond its end")
        content = source.read(length) if length <= _MOST_RECORD_BYTES else b""
        records.append(Record(_text(start[2:18]), number, content))
        position += 60 + length
    return records


# ---------------------------------------------------------------- claims about the points


def _check_points(head: bytes, records: Sequence[Record], path: Path, n_bytes: int) -> None:
    """Hold point format, record length and count against the size of the file."""
    point_format, record_bytes, offset = head[104] & 0x3F, int(_one("<H", head, 105)), int(_one("<I", head, 96))
    if point_format >= len(RECORD_BYTES):
        raise SurveyError(
            f"{path}: holds points of format {point_format}; Tussock reads 0 to 10. Convert it to LAS 1.4."
        )
    if record_bytes < RECORD_BYTES[point_format]:
        raise _broken(path, f"claims point records of {record_bytes} bytes, too short for format {point_format}")
    n_points, _ = _counts(head)
    if head[104] & _COMPRESSED_BIT:
        if not any(record.user == "laszip encoded" for record in records):
            raise _broken(path, "is compressed but does not say how")
        if n_points * record_bytes > (n_bytes - offset) * _MOST_COMPRESSION:
            raise _broken(path, f"claims {n_points:,} points in {n_bytes - offset:,} bytes")
        return
    if offset + n_points * record_bytes > n_bytes:
        there = (n_bytes - offset) // record_bytes
        raise _broken(path, f"should hold {n_points:,} points, but ends after {there:,}")


def _check_chunk_table(source: BinaryIO, head: bytes, path: Path, n_bytes: int) -> None:
    """Hold the table of compressed chunks against the size of the file.

    Source
    ------
    Isenburg (2013), LASzip: lossless compression of lidar data, PE&RS 79(2), and the LASzip specification: the first
    eight bytes of the point data hold the place of the chunk table, or -1 where it stands in the last eight bytes.
    """
    n_points, _ = _counts(head)
    if n_points == 0:
        return
    offset = int(_one("<I", head, 96))
    source.seek(offset)
    place = _read_whole(source, "<q")
    if place == -1:
        source.seek(max(n_bytes - 8, offset))
        place = _read_whole(source, "<q")
    if place is None or not offset + 8 <= place <= n_bytes - 8:
        raise _broken(path, "ends before the table of its compressed points: a part of it is missing")
    source.seek(place + 4)
    n_chunks = _read_whole(source, "<I")
    # Every chunk begins with one point as it is.
    if not n_chunks or n_chunks * RECORD_BYTES[head[104] & 0x3F] > place - offset - 8:
        raise _broken(path, f"claims {n_chunks or 0:,} compressed chunks in {place - offset - 8:,} bytes")


def _read_whole(source: BinaryIO, layout: str) -> int | None:
    raw = source.read(struct.calcsize(layout))
    return int(struct.unpack(layout, raw)[0]) if len(raw) == struct.calcsize(layout) else None


# ---------------------------------------------------------------- coordinate system


def _crs_of(records: Sequence[Record], *, prefers_wkt: bool) -> TileCrs:
    """The CRS of the tile, from well-known text or GeoTIFF keys, whichever the header prefers and PROJ can read."""
    found = {record.number: record.content for record in reversed(records) if record.user == "LASF_Projection"}
    said = []
    if 2112 in found and found[2112].strip(b"\0 "):
        said.append(crs_from_wkt(found[2112].decode("utf-8", errors="replace")))
    keys = short_keys(found.get(34735, b""))
    if keys:
        spelt_out = USER_DEFINED in (keys.get(PROJECTED_KEY), keys.get(GEOGRAPHIC_KEY))
        wkt = wkt_of_keys(*(found.get(number, b"") for number in (34735, 34736, 34737))) if spelt_out else None
        said.append(crs_from_geotiff_keys(keys, user_defined_wkt=wkt))
    if not prefers_wkt:
        said.reverse()
    readable = [crs for crs in said if crs.plan_wkt is not None]
    return readable[0] if readable else said[0] if said else TileCrs()
