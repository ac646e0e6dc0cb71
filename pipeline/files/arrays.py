"""What steps hand to each other: columns of returns and per-block grids, as plain numpy archives.

They are read once or twice and thrown away, so they are not compressed: decoding would cost more than the disk.
"""

from __future__ import annotations

import json
import math
import os
import struct
import zipfile
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from itertools import chain
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.files.atomic import replacing, write_text
from pipeline.lattice.grid import Bounds, Grid, Heights, Mask
from pipeline.returns.cloud import Cloud

Arrays = Mapping[str, NDArray[np.generic]]
# Where a local header of a zip file holds the lengths of the name and of the extra field that follow it
# (PKWARE, APPNOTE.TXT 6.3, section 4.3.7).
_NAME_LENGTH_AT = 26
_GRID = "_grid"
_READ_HEADER = {(1, 0): np.lib.format.read_array_header_1_0, (2, 0): np.lib.format.read_array_header_2_0}


def write_arrays(path: Path, arrays: Arrays | Iterable[tuple[str, NDArray[np.generic]]], /) -> None:
    """Write named arrays; pairs of an iterator are let go one by one, so that only one need be in memory."""
    pairs = arrays.items() if isinstance(arrays, Mapping) else arrays
    with replacing(path) as part, zipfile.ZipFile(part, "w") as archive:
        for name, values in pairs:
            with archive.open(f"{name}.npy", "w", force_zip64=True) as target:
                np.lib.format.write_array(target, np.asarray(values), allow_pickle=False)


@dataclass(frozen=True)
class _Column:
    """Where an array lies in an archive."""

    dtype: np.dtype[np.generic]
    shape: tuple[int, ...]
    is_fortran: bool
    start: int

    def read(self, path: Path, rows: slice = slice(None)) -> NDArray[np.generic]:
        """Some rows of the array, or all, read straight into memory."""
        first, last, _ = rows.indices(self.shape[0] if self.shape else 1)
        width = math.prod(self.shape[1:])
        flat: NDArray[np.generic] = np.fromfile(
            path, self.dtype, max(0, last - first) * width, offset=self.start + first * width * self.dtype.itemsize
        )
        if self.is_fortran:
            return flat.reshape(self.shape[::-1]).T
        return flat.reshape((max(0, last - first), *self.shape[1:]) if self.shape else ())

    def read_into(self, path: Path, rows: slice, target: NDArray[np.generic]) -> None:
        """Some rows of a column, straight into their place among others."""
        with path.open("rb", buffering=0) as source:
            source.seek(self.start + rows.start * self.dtype.itemsize)
            if source.readinto(target.view(np.uint8).data) != target.nbytes:
                raise EOFError(f"{path} is cut short")


def _columns(path: Path) -> dict[str, _Column]:
    """The arrays of an archive, none read yet.

    A numpy archive is a zip file of plain arrays; without compression each can be read from where it lies. Its
    checksums are left aside: an archive is put in its place when it is whole.
    """
    found = {}
    with path.open("rb") as source, zipfile.ZipFile(source) as archive:
        for member in archive.infolist():
            source.seek(member.header_offset + _NAME_LENGTH_AT)
            source.seek(sum(struct.unpack("<HH", source.read(4))), os.SEEK_CUR)
            read_header = _READ_HEADER[np.lib.format.read_magic(source)]
            shape, is_fortran, dtype = read_header(source)
            flat = is_fortran and len(shape) > 1
            found[member.filename.removesuffix(".npy")] = _Column(dtype, shape, flat, source.tell())
    return found


def read_arrays(path: Path, names: Collection[str] | None = None, /) -> dict[str, NDArray[np.generic]]:
    """Read what `write_arrays` wrote: all arrays, or those of some names."""
    found = _columns(path)
    return {name: found[name].read(path) for name in (found if names is None else names)}


def write_returns(path: Path, cloud: Cloud, extra: Arrays, /) -> None:
    """Write the columns of a cloud and further columns of the same length."""
    write_arrays(path, {f.name: getattr(cloud, f.name) for f in fields(Cloud)} | dict(extra))


def read_returns(path: Path, /) -> tuple[Cloud, dict[str, NDArray[np.generic]]]:
    """Read what `write_returns` wrote: the cloud, and the further columns."""
    return join_returns([path])


def read_marked(path: Path, mark: str, value: int, names: Sequence[str], /) -> dict[str, NDArray[np.generic]]:
    """Some columns of the rows of an archive that carry a mark, read no further than those rows reach."""
    found = _columns(path)
    marked = np.flatnonzero(found[mark].read(path) == value)
    rows = slice(int(marked[0]), int(marked[-1]) + 1) if len(marked) else slice(0, 0)
    return {name: found[name].read(path, rows)[marked - rows.start] for name in names}


def join_returns(
    paths: Sequence[Path], /, *, bounds: Bounds | None = None, names: Sequence[str] | None = None
) -> tuple[Cloud, dict[str, NDArray[np.generic]]]:
    """The returns of several archives, one after the other.

    Parameters
    ----------
    bounds : west, south, east, north in metres
        Only usable returns in it are read. Archives sorted by north are read no further than they reach into it.
    names : the further columns to read; all where not given
    """
    columns = [_columns(path) for path in paths]
    chosen = [_chosen(path, found, bounds) for path, found in zip(paths, columns, strict=True)]
    of_cloud = [f.name for f in fields(Cloud)]
    further = [name for name in (columns[0] if columns else ()) if name not in of_cloud] if names is None else names
    joined = {name: np.empty(0, np.int64) for name in further} | vars(Cloud.empty())
    if paths:
        joined = {name: _joined(paths, [found[name] for found in columns], chosen) for name in joined}
    return Cloud(**{name: joined.pop(name) for name in of_cloud}), joined


Chosen = tuple[slice, Mask | None]
"""A stretch of rows, and which of them; None for all."""


def _chosen(path: Path, columns: Mapping[str, _Column], bounds: Bounds | None) -> Chosen:
    """The rows of an archive with usable returns in the bounds."""
    if bounds is None:
        return slice(0, columns["east"].shape[0]), None
    west, south, east, north = bounds
    norths = cast("NDArray[np.float64]", columns["north"].read(path))
    near = np.flatnonzero((norths >= south) & (norths < north))
    if len(near) == 0:
        return slice(0, 0), None
    rows = slice(int(near[0]), int(near[-1]) + 1)
    norths = norths[rows]
    easts = cast("NDArray[np.float64]", columns["east"].read(path, rows))
    is_usable = cast("Mask", columns["is_usable"].read(path, rows))
    which = (easts >= west) & (easts < east) & (norths >= south) & (norths < north) & is_usable
    return rows, None if which.all() else which


def _joined(paths: Sequence[Path], columns: Sequence[_Column], chosen: Sequence[Chosen]) -> NDArray[np.generic]:
    """One column of several archives, the chosen rows of each."""
    counts = [rows.stop - rows.start if which is None else int(which.sum()) for rows, which in chosen]
    joined: NDArray[np.generic] = np.empty(sum(counts), columns[0].dtype)
    start = 0
    for path, column, (rows, which), count in zip(paths, columns, chosen, counts, strict=True):
        piece = joined[start : start + count]
        if which is None:
            column.read_into(path, rows, piece)
        else:
            piece[:] = column.read(path, rows)[which]
        start += count
    return joined


def write_grids(path: Path, grids: Arrays | Iterable[tuple[str, NDArray[np.generic]]], grid: Grid, /) -> None:
    """Write rasters together with the grid they lie on; pairs of an iterator one by one, as `write_arrays` does."""
    place = np.frombuffer(json.dumps(asdict(grid)).encode(), np.uint8)
    write_arrays(path, chain([(_GRID, place)], grids.items() if isinstance(grids, Mapping) else grids))


def read_grid_of(path: Path, /) -> tuple[Grid, tuple[str, ...]]:
    """The grid of what `write_grids` wrote, and the names of the rasters on it."""
    found = _columns(path)
    return Grid(**json.loads(found.pop(_GRID).read(path).tobytes())), tuple(found)


def read_sums(path: Path, names: Collection[str] | None = None, /) -> dict[str, Heights]:
    """Read counts and sums per cell, all float32: all of them, or those of some names."""
    wanted = read_grid_of(path)[1] if names is None else names
    return {name: values.astype(np.float32, copy=False) for name, values in read_arrays(path, wanted).items()}


def write_json(path: Path, content: object, /) -> None:
    """Write a JSON file, keys sorted so that equal content is equal bytes."""
    write_text(path, json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False) + "\n")


def read_json(path: Path, /) -> dict[str, object]:
    """Read a JSON object."""
    content = json.loads(path.read_text(encoding="utf-8"))
    if not isinstance(content, dict):
        raise TypeError(f"{path} holds no JSON object")
    return content
