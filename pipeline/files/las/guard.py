"""Holding what a tile claims against the size of its file, before laspy is let loose on it.

laspy and its decoder believe the numbers they read and set that much memory aside. Here the claims are added up first,
so that a claim of four thousand million points costs nothing and is refused in words.

Source of every position and meaning: ASPRS, LAS Specification 1.4 R15 (2019), tables 3, 6 and 7; of compressed points:
Isenburg (2013), LASzip: lossless compression of lidar data, PE&RS 79(2), and the LAZ specification 1.4 (2022).
"""

from __future__ import annotations

import datetime
import io
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import laspy
import lazrs

from pipeline.errors import SurveyError, counted

# Length of the public header block of LAS 1.0 to 1.5.
_HEADER_BYTES = {0: 227, 1: 227, 2: 227, 3: 235, 4: 375, 5: 393}
_COMPRESSED_BIT = 0x80
# Bytes that a variable length record has before its content: in front of the points, and behind them.
_RECORD_HEAD_BYTES, _EXTENDED_HEAD_BYTES = 54, 60
# Bytes of records held in memory. Real tiles hold well under a megabyte; 64 leaves room for lookup tables (our choice).
_MOST_RECORD_BYTES = 64 * 2**20
# Uncompressed bytes in one compressed byte. Surveys reach some twenty; a claim far above is false (our choice).
_MOST_COMPRESSION = 2000
# Layers of a chunk in point formats 6 to 10: nine of the standard fields, then colours, near infrared, wave forms.
_LAYERS = {6: 9, 7: 10, 8: 11, 9: 10, 10: 12}


@dataclass(frozen=True)
class Claims:
    """What a tile claims, found possible.

    Attributes
    ----------
    path : Path
    n_bytes : int
        Size of the file.
    n_points, point_format, record_bytes : int
        Points, their format (0 to 10) and the bytes of one.
    n_by_return : tuple of int
        First, second, ... returns.
    points_offset : int
        Where the points begin in the file.
    is_compressed : bool
    written : date or None
        Day the file was made; laspy takes the day 0 that much software writes for the last day of the year before.
    records, extended : lists of laspy.VLR
        Variable length records before the points and after them, their content as it stands in the file. Wave forms
        and other bulk after the points is left out.
    """

    path: Path
    n_bytes: int
    n_points: int
    point_format: int
    record_bytes: int
    n_by_return: tuple[int, ...]
    points_offset: int
    is_compressed: bool
    written: datetime.date | None
    records: list[laspy.VLR]
    extended: list[laspy.VLR]


def check_claims(source: BinaryIO, path: Path, /) -> Claims:
    """What an open LAS or LAZ file claims.

    Raises
    ------
    SurveyError
        If a claim cannot be: names the file, what is wrong with it, and what to do.
    """
    n_bytes = source.seek(0, io.SEEK_END)
    head = _public_header(source, path, n_bytes)
    header_bytes, offset, n_records = struct.unpack_from("<HII", head, 94)
    (record_bytes,) = struct.unpack_from("<H", head, 105)
    n_points, n_by_return = _counts(head)
    claims = Claims(
        path=path,
        n_bytes=n_bytes,
        n_points=n_points,
        n_by_return=n_by_return,
        point_format=head[104] & 0x3F,
        record_bytes=record_bytes,
        points_offset=offset,
        is_compressed=bool(head[104] & _COMPRESSED_BIT),
        written=_written(head),
        records=_records(source, path, header_bytes, offset, n_records),
        extended=_extended_records(source, path, head, n_bytes),
    )
    _check_points(source, claims)
    return claims


def _broken(path: Path, what: str) -> SurveyError:
    return SurveyError(f"{path}: {what}. The file is damaged or incomplete; download or copy it again.")


def _undecodable(path: Path, why: str) -> SurveyError:
    return _broken(path, f"its compressed points cannot be decoded ({why})")


@contextmanager
def decoding(path: Path, /) -> Iterator[None]:
    """Turn what laspy and its decoder say about damaged data into words for a mapper."""
    try:
        yield
    except (laspy.LaspyException, lazrs.LazrsError, OSError, ValueError, OverflowError, MemoryError) as error:
        raise _undecodable(path, str(error)) from error
    except BaseException as error:
        # The decoder's own panics cannot be named: their class is made at run time and derives from BaseException.
        if type(error).__name__ != "PanicException":
            raise
        raise _undecodable(path, str(error)) from error


# ---------------------------------------------------------------- the fixed part


def _public_header(source: BinaryIO, path: Path, n_bytes: int) -> bytes:
    """The public header block, its version, its length and the place of the points checked."""
    source.seek(0)
    head = source.read(max(_HEADER_BYTES.values()))
    if head[:4] != b"LASF":
        raise SurveyError(f"{path}: is no LAS or LAZ file (it does not begin with LASF). Name lidar tiles only.")
    if len(head) < _HEADER_BYTES[0]:
        raise _broken(path, "ends within its header")
    minor, (header_bytes, offset) = head[25], struct.unpack_from("<HI", head, 94)
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
    (legacy,) = struct.unpack_from("<I", head, 107)
    if head[25] < 4 or (legacy and head[104] & 0x3F < 6):
        return int(legacy), struct.unpack_from("<5I", head, 111)
    return int(struct.unpack_from("<Q", head, 247)[0]), struct.unpack_from("<15Q", head, 255)


def _written(head: bytes) -> datetime.date | None:
    """Day of writing; None where day and year are none, such as 0 (a year before 1980 is older than lidar surveys)."""
    day, year = struct.unpack_from("<2H", head, 90)
    if not (1 <= day <= 366 and 1980 <= year <= 9998):
        return None
    return datetime.date(year, 1, 1) + datetime.timedelta(days=day - 1)


# ---------------------------------------------------------------- the records


def _records(source: BinaryIO, path: Path, start: int, end: int, count: int) -> list[laspy.VLR]:
    """The variable length records between the header and the points."""
    if count * _RECORD_HEAD_BYTES > end - start:
        raise _broken(path, f"claims {counted(count, 'record')} where {end - start:,} bytes are left for them")
    if end - start > _MOST_RECORD_BYTES:
        raise _broken(path, f"claims {end - start:,} bytes of records before its points")
    place = start
    records: list[laspy.VLR] = []
    for _ in range(count):
        source.seek(place)
        user, number, length, words = struct.unpack("<2x16sHH32s", source.read(_RECORD_HEAD_BYTES))
        place += _RECORD_HEAD_BYTES + length
        if place > end or (len(records) + 1 < count and place + _RECORD_HEAD_BYTES > end):
            raise _broken(path, f"claims {counted(count, 'record')}, which do not fit before its points")
        records.append(_record(user, number, words, source.read(length)))
    return records


def _extended_records(source: BinaryIO, path: Path, head: bytes, n_bytes: int) -> list[laspy.VLR]:
    """The extended records after the points; wave forms and other bulk are passed over."""
    place, count = struct.unpack_from("<QI", head, 235) if head[25] >= 4 else (0, 0)
    if count and (place > n_bytes or count * _EXTENDED_HEAD_BYTES > n_bytes - place):
        raise _broken(path, f"claims {counted(count, 'record')} after its points, beyond its end")
    records, n_held = [], 0
    for _ in range(count):
        source.seek(place)
        raw = source.read(_EXTENDED_HEAD_BYTES)
        if len(raw) < _EXTENDED_HEAD_BYTES:
            raise _broken(path, "ends within a record after its points")
        user, number, length, words = struct.unpack("<2x16sHQ32s", raw)
        place += _EXTENDED_HEAD_BYTES + length
        if place > n_bytes:
            raise _broken(path, f"claims a record of {length:,} bytes after its points, beyond its end")
        if n_held + length <= _MOST_RECORD_BYTES:
            n_held += length
            records.append(_record(user, number, words, source.read(length)))
    return records


def _record(user: bytes, number: int, words: bytes, content: bytes) -> laspy.VLR:
    """A record as laspy has it, the description left in bytes as it need not be ASCII."""
    return laspy.VLR(user.split(b"\0")[0].decode("ascii", "ignore").strip(), number, words.rstrip(b"\0"), content)


# ---------------------------------------------------------------- claims about the points


def _check_points(source: BinaryIO, claims: Claims) -> None:
    """Hold point format, record length and count against the size of the file."""
    path, n_left = claims.path, claims.n_bytes - claims.points_offset
    if claims.point_format not in laspy.supported_point_formats():
        raise SurveyError(
            f"{path}: holds points of format {claims.point_format}; Tussock reads 0 to 10. Convert it to LAS 1.4."
        )
    if claims.record_bytes < laspy.PointFormat(claims.point_format).size:
        raise _broken(
            path, f"claims point records of {claims.record_bytes} bytes, too short for format {claims.point_format}"
        )
    if claims.is_compressed:
        compression(claims)
        if claims.n_points * claims.record_bytes > n_left * _MOST_COMPRESSION:
            raise _broken(path, f"claims {counted(claims.n_points, 'point')} in {n_left:,} bytes")
        if claims.n_points:
            _check_chunk_table(source, claims)
    elif claims.n_points * claims.record_bytes > n_left:
        there = n_left // claims.record_bytes
        raise _broken(path, f"should hold {counted(claims.n_points, 'point')}, but ends after {there:,}")


def compression(claims: Claims, /) -> bytes:
    """Content of the record that says how the points are compressed.

    Raises
    ------
    SurveyError
        If there is no such record.
    """
    for record in claims.records:
        if (record.user_id, record.record_id) == ("laszip encoded", 22204):
            return bytes(record.record_data)
    raise _broken(claims.path, "is compressed but does not say how")


def _check_chunk_table(source: BinaryIO, claims: Claims) -> None:
    """Hold the table of compressed chunks against the size of the file.

    The first eight bytes of the point data hold the place of the table, or -1 where it stands in the last eight bytes.
    """
    offset, n_bytes = claims.points_offset, claims.n_bytes
    source.seek(offset)
    place = _read_whole(source, "<q")
    if place == -1:
        source.seek(max(n_bytes - 8, offset))
        place = _read_whole(source, "<q")
    if place is None or not offset + 8 <= place <= n_bytes - 8:
        raise _broken(claims.path, "ends before the table of its compressed points: a part of it is missing")
    source.seek(place + 4)
    n_chunks = _read_whole(source, "<I")
    # Every chunk begins with one point as it is.
    if not n_chunks or n_chunks * laspy.PointFormat(claims.point_format).size > place - offset - 8:
        raise _broken(claims.path, f"claims {n_chunks or 0:,} compressed chunks in {place - offset - 8:,} bytes")


def _read_whole(source: BinaryIO, layout: str) -> int | None:
    raw = source.read(struct.calcsize(layout))
    return int(struct.unpack(layout, raw)[0]) if len(raw) == struct.calcsize(layout) else None


def check_chunks(source: BinaryIO, claims: Claims, /) -> list[tuple[int, int]]:
    """Points and bytes of every compressed chunk, found possible; to be called before points are decoded.

    A tile that is not compressed has none.

    Raises
    ------
    SurveyError
        If the chunks do not add up to the points and bytes that are there; the file is damaged.
    """
    if not claims.is_compressed or claims.n_points == 0:
        return []
    source.seek(claims.points_offset)
    with decoding(claims.path):
        layout = lazrs.LazVlr(compression(claims))
        chunks: list[tuple[int, int]] = lazrs.read_chunk_table(source, layout)
    if layout.item_size() != claims.record_bytes:
        raise _undecodable(claims.path, "its records are not as long as its header says")
    n_points, n_bytes = (sum(column) for column in zip(*chunks, strict=True))
    # Chunks of equal length are all counted as full, the last one too.
    n_spare = n_points - claims.n_points
    most_spare = 0 if layout.uses_variable_size_chunks() else chunks[-1][0] - 1
    if not 0 <= n_spare <= most_spare or claims.points_offset + 8 + n_bytes > claims.n_bytes:
        raise _undecodable(claims.path, f"its chunks hold {counted(n_points, 'point')} in {counted(n_bytes, 'byte')}")
    if claims.point_format >= 6:
        _check_layers(source, claims, [size for _, size in chunks])
    return [*chunks[:-1], (chunks[-1][0] - n_spare, chunks[-1][1])]


def n_layers(claims: Claims, /) -> int:
    """Layers in a compressed chunk of point formats 6 to 10; each extra byte of a point has its own."""
    n_standard = int(laspy.PointFormat(claims.point_format).size)
    return _LAYERS[claims.point_format] + claims.record_bytes - n_standard


def _check_layers(source: BinaryIO, claims: Claims, sizes: list[int]) -> None:
    """Refuse chunks whose layers claim more than the chunk holds.

    A chunk begins with one point as it is, the number of points, and the size of every layer.
    """
    n = n_layers(claims)
    start = claims.points_offset + 8
    for size in sizes:
        source.seek(start + claims.record_bytes + 4)
        raw = source.read(4 * n)
        if len(raw) < 4 * n or claims.record_bytes + 4 + 4 * n + sum(struct.unpack(f"<{n}I", raw)) > size:
            raise _undecodable(claims.path, f"the chunk at byte {start:,} claims more than its {size:,} bytes")
        start += size
