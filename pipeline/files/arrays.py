"""What steps hand to each other: columns of returns and per-block grids, a folder of plain `.npy` files each.

They are read once or twice and thrown away, so they are not compressed: decoding would cost more than the disk. One
file a column lets a step read the columns it needs, and of those the rows it needs (numpy maps the file). Measured on
the columns of 800 000 returns, one structured array in one file takes eight times as long to read in part.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.files.disk.atomic import replacing_folder, write_text
from pipeline.lattice.grid import Bounds, Grid, Heights, Mask
from pipeline.returns.cloud import Cloud

Arrays = Mapping[str, NDArray[np.generic]]
# Stands in a folder of rasters beside them.
_GRID = "grid.json"


# ---------------------------------------------------------------- folders of arrays


def write_arrays(path: Path, arrays: Arrays | Iterable[tuple[str, NDArray[np.generic]]], /) -> None:
    """Write named arrays into a folder, which takes its place when it is whole.

    Pairs of an iterator are let go one by one, so that only one need be in memory.
    """
    with replacing_folder(path) as folder:
        _fill(folder, arrays)


def _fill(folder: Path, arrays: Arrays | Iterable[tuple[str, NDArray[np.generic]]]) -> None:
    for name, values in arrays.items() if isinstance(arrays, Mapping) else arrays:
        np.save(folder / f"{name}.npy", values, allow_pickle=False)


def map_arrays(path: Path, names: Collection[str] | None = None, /) -> dict[str, NDArray[np.generic]]:
    """What `write_arrays` wrote, all arrays or those of some names; read only, and read from disk where looked at.

    Raises
    ------
    FileNotFoundError, ValueError
        If an array is missing, or its file is cut short.
    """
    wanted = sorted(file.stem for file in path.glob("*.npy")) if names is None else names
    return {name: np.asarray(np.load(path / f"{name}.npy", mmap_mode="r")) for name in wanted}


# ---------------------------------------------------------------- columns of returns


def write_returns(path: Path, cloud: Cloud, extra: Arrays, /) -> None:
    """Write the columns of a cloud and further columns of the same length."""
    write_arrays(path, vars(cloud) | dict(extra))


def join_returns(
    paths: Sequence[Path], /, *, bounds: Bounds | None = None, names: Sequence[str] = ()
) -> tuple[Cloud, dict[str, NDArray[np.generic]]]:
    """The returns that several calls of `write_returns` wrote, one after the other, and some of their further columns.

    Parameters
    ----------
    bounds : west, south, east, north in metres
        Only usable returns in it are read. Returns sorted by north are read no further than they reach into it.
    names : the further columns to read
    """
    of_cloud = [f.name for f in fields(Cloud)]
    if not paths:
        return Cloud.empty(), {name: np.empty(0, np.int64) for name in names}
    parts = [map_arrays(path, [*of_cloud, *names]) for path in paths]
    chosen = [_chosen(columns, bounds) for columns in parts]
    joined = {
        name: np.concatenate([rows.of(columns[name]) for columns, rows in zip(parts, chosen, strict=True)])
        for name in (*of_cloud, *names)
    }
    return Cloud(**{name: joined.pop(name) for name in of_cloud}), joined


@dataclass(frozen=True)
class _Rows:
    """A stretch of rows, and which of them; None for all."""

    stretch: slice
    which: Mask | None = None

    def of(self, column: NDArray[np.generic]) -> NDArray[np.generic]:
        """These rows of a column."""
        rows = column[self.stretch]
        return rows if self.which is None else rows[self.which]


def _chosen(columns: Arrays, bounds: Bounds | None) -> _Rows:
    """The rows with usable returns in the bounds."""
    if bounds is None:
        return _Rows(slice(None))
    west, south, east, north = bounds
    norths = cast("NDArray[np.float64]", columns["north"])
    stretch = _reach((norths >= south) & (norths < north))
    norths, easts = norths[stretch], cast("NDArray[np.float64]", columns["east"])[stretch]
    which = (easts >= west) & (easts < east) & (norths >= south) & (norths < north)
    which &= cast("Mask", columns["is_usable"])[stretch]
    return _Rows(stretch, None if which.all() else which)


def _reach(is_wanted: Mask) -> slice:
    """The rows from the first to the last wanted one."""
    wanted = np.flatnonzero(is_wanted)
    return slice(int(wanted[0]), int(wanted[-1]) + 1) if len(wanted) else slice(0, 0)


def read_marked(path: Path, mark: str, value: int, names: Sequence[str], /) -> dict[str, NDArray[np.generic]]:
    """Some columns of the returns that carry a mark, read no further than these reach."""
    columns = map_arrays(path, [mark, *names])
    stretch = _reach(columns[mark] == value)
    rows = _Rows(stretch, columns[mark][stretch] == value)
    return {name: rows.of(columns[name]) for name in names}


# ---------------------------------------------------------------- grids


def write_grids(path: Path, grids: Arrays | Iterable[tuple[str, NDArray[np.generic]]], grid: Grid, /) -> None:
    """Write rasters together with the grid they lie on; pairs of an iterator one by one, as `write_arrays` does."""
    with replacing_folder(path) as folder:
        write_json(folder / _GRID, asdict(grid))
        _fill(folder, grids)


def read_grid_of(path: Path, /) -> tuple[Grid, tuple[str, ...]]:
    """The grid of what `write_grids` wrote, and the names of the rasters on it."""
    grid = Grid(**read_json(path / _GRID))  # type: ignore[arg-type]
    return grid, tuple(sorted(file.stem for file in path.glob("*.npy")))


def read_sums(path: Path, names: Collection[str] | None = None, /) -> dict[str, Heights]:
    """Read counts and sums per cell that `write_grids` wrote, all float32: all of them, or those of some names."""
    return {name: values.astype(np.float32) for name, values in map_arrays(path, names).items()}


def read_window(path: Path, name: str, window: tuple[slice, slice], /) -> Heights:
    """Some rows and columns of one of the rasters that `write_grids` wrote, float32."""
    return map_arrays(path, (name,))[name][window].astype(np.float32)


# ---------------------------------------------------------------- JSON


def write_json(path: Path, content: object, /) -> None:
    """Write a JSON file, keys sorted so that equal content is equal bytes."""
    write_text(path, json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False) + "\n")


def read_json(path: Path, /) -> dict[str, object]:
    """Read a JSON object."""
    content = json.loads(path.read_text(encoding="utf-8"))
    if not isinstance(content, dict):
        raise TypeError(f"{path} holds no JSON object")
    return content
