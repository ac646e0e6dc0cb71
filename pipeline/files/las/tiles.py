"""Reading lidar tiles (LAS, LAZ, COPC; point formats 0 to 10) and writing them back with their classes.

A tile is decoded once: into a `Cloud` in metres of the working CRS, and into `Records`, the very bytes of the file,
from which the same points in the same order are written again with nothing but the classes changed.
"""

from __future__ import annotations

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

from pipeline.errors import SurveyError
from pipeline.files.atomic import replacing
from pipeline.files.las.header import (
    Record,
    parse_header,
    read_extended_records,
)
from pipeline.files.las.points import LEGACY_CLASS_BITS, cloud_of, decode, decode_pieces, decode_some, record_layout
from pipeline.intake.placement import Placement
from pipeline.intake.strays import bounds_without_strays
from pipeline.intake.tile_header import TileHeader
from pipeline.intake.units import METRES_PER_DEGREE
from pipeline.lattice.grid import Bounds, Mask
from pipeline.points.duplicates import find_duplicates
from pipeline.returns.cloud import Cloud

SPARSE_M2_PER_POINT = 4.0
"""Ground per point above which a tile is searched for stray points that blow up its extent."""
STRAY_GAP_M = 1000.0
"""Empty ground between a tile and a few points for them to be strays; no forest is that empty."""

PIECE_POINTS = 2_000_000
"""Points held at a time where a tile is worked on in pieces: some 300 MB with everything made of them."""
_HEAD, _POINTS, _TAIL = "head.bin", "points.npy", "tail.bin"
# Reprojecting a rectangle and rounding explain less than this.
_EDGE_M = 1.0
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
        points = decode(source, header)
        head, tail = _surroundings(source, header)
    cloud = cloud_of(points, header, placement)
    usable = cloud.is_usable & ~find_duplicates(cloud)
    if usable_bounds is not None:
        usable &= ~_strays(cloud, usable_bounds, path)
    return _with_usable(cloud, usable), Records(head, tail, points)


def read_pieces(
    path: Path, placement: Placement, folder: Path, /, *, usable_bounds: Bounds | None = None
) -> Iterator[tuple[int, Cloud]]:
    """A tile too large for the memory, piece after piece, each with the place of its first point in the tile.

    The records are laid down in `folder` on the way, where `load_records` finds them. What counts is as in
    `read_cloud`, except that a point is known to be repeated only when both stand in one piece: look for the others
    with `find_duplicates` where points of several pieces or tiles are brought together.
    """
    header = read_header(path)
    n_strays = 0
    with _opened(path) as source:
        head, tail = _surroundings(source, header)
        (folder / _HEAD).write_bytes(head)
        (folder / _TAIL).write_bytes(tail)
        laid_down = np.lib.format.open_memmap(
            folder / _POINTS, "w+", np.dtype(f"V{header.record_bytes}"), (header.n_points,)
        )
        for start, points in decode_pieces(source, header, n_points=PIECE_POINTS):
            laid_down[start : start + len(points)] = points.view(laid_down.dtype)
            cloud = cloud_of(points, header, placement)
            usable = cloud.is_usable & ~find_duplicates(cloud)
            if usable_bounds is not None:
                strays = _outside(cloud.east, cloud.north, usable_bounds, edge=_EDGE_M)
                n_strays += int(strays.sum())
                usable &= ~strays
            yield start, _with_usable(cloud, usable)
        laid_down.flush()
    _refuse_many_strays(n_strays, header.n_points, path)


def _strays(cloud: Cloud, bounds: Bounds, path: Path) -> Mask:
    strays = _outside(cloud.east, cloud.north, bounds, edge=_EDGE_M)
    _refuse_many_strays(int(strays.sum()), len(cloud), path)
    return strays


def _refuse_many_strays(n_strays: int, n_points: int, path: Path) -> None:
    if n_strays > _MOST_STRAYS * n_points:
        raise SurveyError(
            f"{path}: {n_strays:,} of its {n_points:,} points lie outside the extent it claims. "
            "Its header is wrong; export the tile again."
        )


def _with_usable(cloud: Cloud, usable: Mask) -> Cloud:
    return Cloud(**{**vars(cloud), "is_usable": usable})


# ---------------------------------------------------------------- some of the points


def sample_points(path: Path, placement: Placement, /, *, n_points: int) -> Cloud:
    """A sample of a tile's points: some of its chunks, spread evenly over the file.

    A compressed tile can be entered only where a chunk begins, so whole chunks are read, at least one; the time grows
    with the sample and not with the tile.

    Parameters
    ----------
    n_points : int
        About the size of the sample; a tile with no more points is read whole.
    """
    header = read_header(path)
    with _opened(path) as source:
        if header.n_points <= n_points:
            return cloud_of(decode(source, header), header, placement)
        return cloud_of(decode_some(source, header, n_points=n_points), header, placement)


def points_bounds(header: TileHeader, /) -> Bounds:
    """Where the points of a tile are: west, south, east, north in the tile's own units.

    The header is believed unless a look at the points shows it to be wrong, or it speaks of so much ground that a few
    stray points must lie far away. Then the tile is read once more and the strays are left out.
    """
    if header.n_points == 0:
        return header.bounds
    unit_m = METRES_PER_DEGREE if header.crs.is_geographic else header.crs.plan_unit_m or 1.0
    west, south, east, north = header.bounds
    is_sparse = (east - west) * (north - south) * unit_m**2 > header.n_points * SPARSE_M2_PER_POINT
    with _opened(header.path) as source:
        few = _places(decode_some(source, header, n_points=1), header)
        if not is_sparse and not _outside(*few, header.bounds, edge=_EDGE_M / unit_m).any():
            return header.bounds
        return bounds_without_strays(*_places(decode(source, header), header), gap=STRAY_GAP_M / unit_m)


def _places(points: NDArray[np.void], header: TileHeader) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    with np.errstate(over="ignore", invalid="ignore"):  # a damaged header; the tile is refused when it is read
        x, y = (points[axis] * header.scales[at] + header.offsets[at] for at, axis in enumerate("XY"))
    return x, y


def _outside(x: NDArray[np.float64], y: NDArray[np.float64], bounds: Bounds, *, edge: float) -> Mask:
    """(n,) bool: which places lie outside, by more than the edge."""
    west, south, east, north = bounds
    outside: Mask = (x < west - edge) | (x > east + edge) | (y < south - edge) | (y > north + edge)
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
    points, point_format = records.points, records.head[104] & 0x3F
    _check_classes(asprs_class, len(points), point_format)
    n_extra = points.dtype.itemsize - laspy.PointFormat(point_format).size
    how = lazrs.LazVlr.new_for_compression(point_format, n_extra)
    with replacing(path) as part, part.open("wb") as target:
        target.write(_compressed_head(records.head, how.record_data()))
        compressor = lazrs.ParLasZipCompressor(target, how)
        for start in range(0, len(points), PIECE_POINTS):
            stretch = slice(start, start + PIECE_POINTS)
            compressor.compress_many(_with_classes(points[stretch], asprs_class[stretch]).view(np.uint8))
        compressor.done()
        if records.tail:
            target.seek(0, 2)
            place = target.tell()
            target.write(records.tail)
            target.seek(235)
            target.write(struct.pack("<Q", place))


def _check_classes(asprs_class: NDArray[np.uint8], n_points: int, point_format: int) -> None:
    if len(asprs_class) != n_points:
        raise ValueError(f"{len(asprs_class)} classes for {n_points} points")
    highest = int(asprs_class.max(initial=0))
    if point_format < 6 and highest > LEGACY_CLASS_BITS:
        raise ValueError(f"class {highest} does not fit a point format below 6")


def _with_classes(points: NDArray[np.void], asprs_class: NDArray[np.uint8]) -> NDArray[np.void]:
    """A copy of the points with their classes replaced; flags that share a byte with the class stay."""
    changed = np.array(points)
    if "raw_classification" in (points.dtype.names or ()):
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
    np.save(folder / _POINTS, records.points.view(f"V{records.points.dtype.itemsize}"))
    (folder / _HEAD).write_bytes(records.head)
    (folder / _TAIL).write_bytes(records.tail)


def load_records(folder: Path, /) -> Records:
    """The records of a tile that a step has laid down; the points stay on disk until they are looked at."""
    head = (folder / _HEAD).read_bytes()
    raw = np.load(folder / _POINTS, mmap_mode="r")
    layout = record_layout(head[104] & 0x3F, raw.dtype.itemsize)
    return Records(head, (folder / _TAIL).read_bytes(), raw.view(layout))
