"""Reading lidar tiles (LAS, LAZ, COPC; point formats 0 to 10) and writing them again with new classes.

laspy does both, some points at a time. What is ours is the guard before it, and what the points mean in metres.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import laspy
import lazrs
import numpy as np
from laspy.point.dims import VERSION_TO_POINT_FMT
from numpy.typing import NDArray

from pipeline.errors import SurveyError, counted
from pipeline.files.disk.atomic import replacing
from pipeline.files.las.class_layer import NEEDED, ODD_LETTERS, Beside, is_exchangeable, write_exchanged
from pipeline.files.las.guard import Claims, check_chunks, check_claims, compression, decoding
from pipeline.files.las.header import check_frame, describe_header
from pipeline.files.las.points import carries_one_number, cloud_of
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
STRETCH_POINTS = 50_000
"""Points of one stretch of a sample of a tile that is not compressed: as many as compressors commonly put into a chunk,
some 100 m of a flight line."""

# Rounding, and reprojecting a rectangle, move a point out of its tile's bounds by less than this.
_EDGE_M = 1.0
# A tile with more of its points outside its bounds than this is not a tile with strays but a wrong header.
_MOST_STRAYS = 0.01
# Formats 0 to 5 keep the class in five bits (LAS 1.4 R15, table 8).
_HIGHEST_LEGACY_CLASS = 31
# Where the header gives day and year of writing, and how many bytes they take (LAS 1.4 R15, table 3).
_DATE_AT, _DATE_BYTES = 90, 4

# What laspy would print about odd files is either refused by the guard or does not matter to us.
logging.getLogger("laspy").addHandler(logging.NullHandler())


# ---------------------------------------------------------------- opening


@contextmanager
def _opened(path: Path) -> Iterator[BinaryIO]:
    try:
        source = path.open("rb")
    except OSError as error:
        raise SurveyError(f"{path}: cannot be read ({error.strerror or error})") from error
    with source:
        yield source


def read_header(path: Path, /) -> TileHeader:
    """The header of a tile, every claim in it held against the size of the file.

    Raises
    ------
    SurveyError
        If the file cannot be read, is no LAS or LAZ file, or is damaged: names the file and what to do.
    """
    with _opened(path) as source:
        claims = check_claims(source, path)
        return describe_header(_reader(source, claims).header, claims)


@dataclass(frozen=True)
class _Open:
    """A tile that has passed the guard, laspy's reader placed at its first point.

    Attributes
    ----------
    source : its file
    chunks : points and bytes of its compressed chunks; none where it is not compressed
    """

    path: Path
    source: BinaryIO
    claims: Claims
    chunks: list[tuple[int, int]]
    reader: laspy.LasReader

    def pieces(self, n_points: int) -> Iterator[tuple[int, laspy.ScaleAwarePointRecord]]:
        """All points, so many at a time, each piece with the place of its first point."""
        pieces, start = self.reader.chunk_iterator(n_points), 0
        while start < self.claims.n_points:
            with decoding(self.path):
                piece = next(pieces)
            yield start, piece
            start += len(piece)

    def every(self) -> laspy.ScaleAwarePointRecord:
        """All points."""
        with decoding(self.path):
            return self.reader.read_points(-1)

    def some(self, n_points: int) -> list[laspy.ScaleAwarePointRecord]:
        """About so many points in stretches spread evenly over the tile, at least one; all where there are fewer."""
        if self.claims.n_points <= n_points:
            return [self.every()]
        return [self._some_chunks(n_points)] if self.chunks else self._some_stretches(n_points)

    def _some_chunks(self, n_points: int) -> laspy.ScaleAwarePointRecord:
        """Whole chunks of a compressed tile, at least one; it can be entered only where a chunk begins.

        They go past laspy: its `seek` gives wrong points where chunks differ in length (COPC; laspy 2.7, lazrs 0.8).
        """
        wanted = _evenly(len(self.chunks), n_points * len(self.chunks) // self.claims.n_points)
        starts = self.claims.points_offset + 8 + np.cumsum([0, *(size for _, size in self.chunks)])
        bodies = []
        for index in wanted:
            self.source.seek(int(starts[index]))
            bodies.append(self.source.read(self.chunks[index][1]))
        table = [self.chunks[index] for index in wanted]
        raw = bytearray(sum(count for count, _ in table) * self.claims.record_bytes)
        with decoding(self.path):
            lazrs.decompress_points_with_chunk_table(b"".join(bodies), compression(self.claims), raw, table)
        header = self.reader.header
        records = laspy.PackedPointRecord.from_buffer(raw, header.point_format)
        return laspy.ScaleAwarePointRecord(records.array, header.point_format, header.scales, header.offsets)

    def _some_stretches(self, n_points: int) -> list[laspy.ScaleAwarePointRecord]:
        """Stretches of a tile that is not compressed."""
        stretches = []
        for index in _evenly(-(-self.claims.n_points // STRETCH_POINTS), n_points // STRETCH_POINTS):
            self.reader.seek(index * STRETCH_POINTS)
            stretches.append(self.reader.read_points(STRETCH_POINTS))
        return stretches


def _evenly(n_all: int, n_wanted: int) -> list[int]:
    """At least one and at most all of the numbers below `n_all`, evenly spread."""
    n_wanted = min(n_all, max(1, n_wanted))
    return [(2 * index + 1) * n_all // (2 * n_wanted) for index in range(n_wanted)]


@contextmanager
def _reading(path: Path) -> Iterator[_Open]:
    with _opened(path) as source:
        claims = check_claims(source, path)
        chunks = check_chunks(source, claims)
        reader = _reader(source, claims)
        yield _Open(path, source, claims, chunks, reader)


def _reader(source: BinaryIO, claims: Claims, needed: laspy.DecompressionSelection | None = None) -> laspy.LasReader:
    """The reader of laspy, decoding all fields or those that are needed.

    Extended records, which may hold wave forms by the gigabyte, are left to the guard.
    """
    source.seek(0)
    try:
        reader = laspy.LasReader(
            source,
            closefd=False,
            laz_backend=laspy.LazBackend.LazrsParallel,
            read_evlrs=False,
            decompression_selection=laspy.DecompressionSelection.all() if needed is None else needed,
        )
    except Exception as error:  # whatever laspy stumbles over in a header that is possible but wrong
        raise SurveyError(
            f"{claims.path}: its header contradicts itself ({error}). "
            "The file is damaged or incomplete; download or copy it again."
        ) from error
    check_frame(reader.header, claims)
    # laspy takes the count of 1.4 where the older one, which the guard knows about, would hold.
    reader.header.point_count = claims.n_points
    return reader


# ---------------------------------------------------------------- points


def read_pieces(
    path: Path,
    placement: Placement,
    /,
    *,
    usable_bounds: Bounds | None = None,
    n_points: int = PIECE_POINTS,
    beside: list[Beside] | None = None,
) -> Iterator[tuple[int, Cloud]]:
    """The points of a tile, piece after piece, each with the place of its first point in the tile.

    Withheld and synthetic points, virtual ones (return number 0 in formats that number them), repeated ones and strays
    outside `usable_bounds` are kept, so that nothing is lost when the tile is written again, but are not usable. A
    point is known to be repeated only when both stand in one piece: look for the others with `find_duplicates` where
    points of several pieces or tiles are brought together.

    Parameters
    ----------
    usable_bounds : west, south, east, north in metres of the working CRS, or None for no limit.
    n_points : int
        Points held at a time.
    beside : list or None
        Grows by what `write_classified` must know of each piece, where its classes may be exchanged.

    Yields
    ------
    start : int
    cloud : Cloud in the working CRS and metres

    Raises
    ------
    SurveyError
        If the file is damaged, or much of it lies outside the bounds.
    """
    n_strays, is_numbered = 0, True
    with _reading(path) as tile:
        for start, points in tile.pieces(n_points):
            # The first piece tells for the whole tile: a last piece of a few points may well carry one number.
            is_numbered = not carries_one_number(points) if start == 0 else is_numbered
            cloud = cloud_of(points, placement, path, is_numbered=is_numbered)
            if beside is not None and is_exchangeable(tile.reader.header, tile.claims, tile.chunks):
                beside.append(Beside.of(points))
            usable = cloud.is_usable & ~find_duplicates(cloud)
            if usable_bounds is not None:
                strays = _outside(cloud.east, cloud.north, usable_bounds, edge=_EDGE_M)
                n_strays += int(strays.sum())
                usable &= ~strays
            yield start, Cloud(**{**vars(cloud), "is_usable": usable})
    _refuse_many_strays(n_strays, tile.claims.n_points, path)


def read_cloud(path: Path, placement: Placement, /, *, usable_bounds: Bounds | None = None) -> Cloud:
    """All points of a tile at once, as `read_pieces` gives them."""
    n_points = max(1, read_header(path).n_points)
    clouds = [cloud for _, cloud in read_pieces(path, placement, usable_bounds=usable_bounds, n_points=n_points)]
    return clouds[0] if clouds else Cloud.empty()


def _refuse_many_strays(n_strays: int, n_points: int, path: Path) -> None:
    if n_strays > _MOST_STRAYS * n_points:
        raise SurveyError(
            f"{path}: {counted(n_strays, 'point')} of {n_points:,} outside the extent it claims. "
            "Its header is wrong; export the tile again."
        )


# ---------------------------------------------------------------- some of the points


def sample_points(path: Path, placement: Placement, /, *, n_points: int) -> Cloud:
    """A sample of a tile's points: stretches of it, spread evenly over the file.

    The time grows with the sample and not with the tile.

    Parameters
    ----------
    n_points : int
        About the size of the sample; a tile with no more points is read whole.
    """
    with _reading(path) as tile:
        stretches = tile.some(n_points)
        is_numbered = not all(map(carries_one_number, stretches))
        return Cloud.join([cloud_of(points, placement, path, is_numbered=is_numbered) for points in stretches])


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
    with _reading(header.path) as tile:
        (few,) = tile.some(1)
        if not is_sparse and not _outside(*_places(few), header.bounds, edge=_EDGE_M / unit_m).any():
            return header.bounds
    with _reading(header.path) as tile:
        return bounds_without_strays(*_places(tile.every()), gap=STRAY_GAP_M / unit_m)


def _places(points: laspy.ScaleAwarePointRecord) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    with np.errstate(over="ignore", invalid="ignore"):  # a damaged header; the tile is refused when it is read
        return np.asarray(points["x"]), np.asarray(points["y"])


def _outside(x: NDArray[np.float64], y: NDArray[np.float64], bounds: Bounds, *, edge: float) -> Mask:
    """(n,) bool: which places lie outside, by more than the edge."""
    west, south, east, north = bounds
    outside: Mask = (x < west - edge) | (x > east + edge) | (y < south - edge) | (y > north + edge)
    return outside


# ---------------------------------------------------------------- writing


def write_classified(
    path: Path, original: Path, asprs_class: NDArray[np.uint8], /, *, beside: Beside | None = None
) -> None:
    """Write a tile again as LAZ: all its points in their order, all fields and records, with other classes.

    Extent and counts in the header are worked out anew. Records that point into the file they came from go: the index
    of a COPC tile, and wave forms. The date stays, so that equal input gives equal bytes.

    Parameters
    ----------
    path, original : Path
        File to write, and the tile it is made from.
    asprs_class : (n,) uint8
        New class of each point; at most 31 for point formats 0 to 5, which keep it in five bits.
    beside : Beside or None
        What `read_pieces` kept of the points, all pieces joined; without it they are decoded.

    Raises
    ------
    SurveyError
        If the tile is damaged.
    ValueError
        If there are not as many classes as points, or one does not fit the point format.
    """
    with _reading(original) as tile, replacing(path) as part:
        _check_classes(asprs_class, tile.claims)
        header = _header_to_write(tile.reader.header, tile.claims)
        if is_exchangeable(header, tile.claims, tile.chunks):
            _exchange_classes(part, tile, header, asprs_class, beside or _decoded_beside(tile))
        else:
            _compress_anew(part, tile, header, asprs_class)
        with part.open("r+b") as target:
            tile.source.seek(_DATE_AT)
            target.seek(_DATE_AT)
            target.write(tile.source.read(_DATE_BYTES))


def _decoded_beside(tile: _Open) -> Beside:
    """What must be known of the points to exchange their classes, decoded a chunk at a time."""
    reader, parts = _reader(tile.source, tile.claims, NEEDED), []
    for count, _ in tile.chunks:
        with decoding(tile.path):
            parts.append(Beside.of(reader.read_points(count)))
    return Beside.joined(parts)


def _exchange_classes(
    part: Path, tile: _Open, header: laspy.LasHeader, asprs_class: NDArray[np.uint8], beside: Beside
) -> None:
    """Write a tile with everything but its classes left compressed as it is."""
    extended = _kept(tile.claims.extended)
    if len(beside.returns) != tile.claims.n_points:
        raise ValueError(f"{len(beside.returns)} points are known of {tile.claims.n_points}")
    with part.open("w+b") as target, tile.path.open("rb") as source:
        write_exchanged(target, source, header, asprs_class, beside, claims=tile.claims, chunks=tile.chunks)
        if extended:
            header.number_of_evlrs, header.start_of_first_evlr = len(extended), target.tell()
            extended.write_to(target, as_extended=True)
        target.seek(0)
        header.write_to(target, ensure_same_size=True, encoding_errors=ODD_LETTERS)


def _compress_anew(part: Path, tile: _Open, header: laspy.LasHeader, asprs_class: NDArray[np.uint8]) -> None:
    """Write a tile piece by piece, every field decoded and compressed again."""
    with laspy.open(part, "w", header=header, do_compress=True, encoding_errors=ODD_LETTERS) as writer:
        for start, points in tile.pieces(PIECE_POINTS):
            points["classification"] = asprs_class[start : start + len(points)]
            writer.write_points(points)
        if header.version.minor >= 4:
            writer.write_evlrs(_kept(tile.claims.extended))


def _check_classes(asprs_class: NDArray[np.uint8], claims: Claims) -> None:
    if len(asprs_class) != claims.n_points:
        raise ValueError(f"{len(asprs_class)} classes for {claims.n_points} points")
    highest = int(asprs_class.max(initial=0))
    if claims.point_format < 6 and highest > _HIGHEST_LEGACY_CLASS:
        raise ValueError(f"class {highest} does not fit a point format below 6")


def _header_to_write(header: laspy.LasHeader, claims: Claims) -> laspy.LasHeader:
    """The header of the tile to be written, its records as they stand in the file and not as laspy understands them."""
    copy = header.copy()
    copy.vlrs[:] = _kept(claims.records)
    copy.start_of_waveform_data_packet_record = 0
    # laspy writes neither LAS 1.0 nor formats that a version does not know; LAS 1.4 knows all we read.
    if claims.point_format not in VERSION_TO_POINT_FMT.get(str(copy.version), ()):
        copy.version = laspy.header.Version(1, 4)
    return copy


def _kept(records: list[laspy.VLR]) -> laspy.vlrs.vlrlist.VLRList:
    """The records but those that tell how and where in the file the points are (COPC; LAS 1.4 R15, record 65535)."""
    return laspy.vlrs.vlrlist.VLRList(
        record
        for record in records
        if record.user_id not in ("laszip encoded", "copc")
        and (record.user_id, record.record_id) != ("LASF_Spec", 65535)
    )
