"""The chunks of a compressed tile: held against the size of the file before a decoder is let loose on them.

A decoder believes the sizes it reads and sets that much memory aside; here they are added up first.

Source of the layout: Isenburg (2013), LASzip: lossless compression of lidar data, PE&RS 79(2), and the LAZ
specification 1.4 (2022).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

import lazrs

from pipeline.errors import SurveyError
from pipeline.files.las.header import RECORD_BYTES
from pipeline.intake.tile_header import TileHeader

# Layers of a chunk in point formats 6 to 10: nine of the standard fields, then colours, near infrared, wave forms.
_LAYERS = {6: 9, 7: 10, 8: 11, 9: 10, 10: 12}


@contextmanager
def decoding(path: Path, /) -> Iterator[None]:
    """Turn what the decoder says about damaged data into words for a mapper."""
    try:
        yield
    except (lazrs.LazrsError, OSError, ValueError, OverflowError, MemoryError) as error:
        raise _undecodable(path, str(error)) from error
    except BaseException as error:
        # The decoder's own panics cannot be named: their class is made at run time and derives from BaseException.
        if type(error).__name__ != "PanicException":
            raise
        raise _undecodable(path, str(error)) from error


def _undecodable(path: Path, why: str) -> SurveyError:
    return SurveyError(
        f"{path}: its compressed points cannot be decoded ({why}). "
        "The file is damaged or incomplete; download or copy it again."
    )


def read_chunks(source: BinaryIO, header: TileHeader, how: bytes, /) -> list[tuple[int, int]]:
    """Points and bytes of every chunk of a compressed tile.

    Parameters
    ----------
    how : bytes
        Content of the record that says how the tile is compressed.

    Raises
    ------
    SurveyError
        If the chunks do not add up to the points and bytes that are there; the file is damaged.
    """
    source.seek(header.points_offset)
    with decoding(header.path):
        layout = lazrs.LazVlr(how)
        if layout.item_size() != header.record_bytes:
            raise _undecodable(header.path, "its records are not as long as its header says")
        chunks: list[tuple[int, int]] = lazrs.read_chunk_table(source, layout)
    n_bytes = sum(size for _, size in chunks)
    n_points = sum(count for count, _ in chunks)
    # Chunks of equal length are all counted as full, the last one too.
    n_spare = n_points - header.n_points
    most_spare = chunks[-1][0] - 1 if chunks and not layout.uses_variable_size_chunks() else 0
    if not 0 <= n_spare <= most_spare or header.points_offset + 8 + n_bytes > header.n_bytes:
        raise _undecodable(header.path, f"its chunks hold {n_points:,} points in {n_bytes:,} bytes")
    if header.point_format >= 6:
        _check_layers(source, header, [size for _, size in chunks])
    return [*chunks[:-1], (chunks[-1][0] - n_spare, chunks[-1][1])]


def _check_layers(source: BinaryIO, header: TileHeader, sizes: list[int]) -> None:
    """Refuse chunks whose layers claim more than the chunk holds.

    A chunk begins with one point as it is, the number of points, and the size of every layer.
    """
    n_extra = header.record_bytes - RECORD_BYTES[header.point_format]
    n_layers = _LAYERS[header.point_format] + n_extra
    start = header.points_offset + 8
    for size in sizes:
        source.seek(start + header.record_bytes + 4)
        raw = source.read(4 * n_layers)
        if len(raw) < 4 * n_layers or sum(struct.unpack(f"<{n_layers}I", raw)) > size:
            raise _undecodable(header.path, f"the chunk at byte {start:,} claims more than its {size:,} bytes")
        start += size
