"""What steps hand to each other: columns of returns, a folder of plain `.npy` files each; and JSON.

They are read once or twice and thrown away, so they are not compressed: decoding would cost more than the disk. One
file a column lets a step read the columns it needs, and of those the rows it needs (numpy maps the file). Measured on
the columns of 800 000 returns, one structured array in one file takes eight times as long to read in part.
"""

from __future__ import annotations

import json
import os
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import fields
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipeline.files.disk.atomic import replacing_folder, write_text
from pipeline.returns.cloud import Cloud

Arrays = Mapping[str, NDArray[np.generic]]


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
    paths: Sequence[Path], /, *, names: Sequence[str] = ()
) -> tuple[Cloud, dict[str, NDArray[np.generic]]]:
    """The returns that several calls of `write_returns` wrote, one after the other, and some of their further columns.

    A column `path` beside those is the number of the path that each return comes from.

    Parameters
    ----------
    names : the further columns to read

    Raises
    ------
    FileNotFoundError, ValueError
        If a column is missing, is cut short, or is longer or shorter than the others.
    """
    of_cloud = [f.name for f in fields(Cloud)]
    if not paths:
        return Cloud.empty(), {name: np.empty(0, np.int64) for name in (*names, "path")}
    lengths = [len(array) for path in paths for array in map_arrays(path, of_cloud[:1]).values()]
    joined = {name: _one_after_the_other(paths, name, lengths) for name in (*of_cloud, *names)}
    cloud = Cloud(**{name: joined.pop(name) for name in of_cloud})  # type: ignore[arg-type]
    return cloud, joined | {"path": np.repeat(np.arange(len(paths), dtype=np.min_scalar_type(len(paths))), lengths)}


def _one_after_the_other(paths: Sequence[Path], name: str, lengths: Sequence[int]) -> NDArray[np.generic]:
    """A column of several folders as one array, read into its place.

    Mapped files, looked at page by page, take five times as long, and arrays that are joined afterwards twice.
    """
    mapped = [map_arrays(path, (name,))[name] for path in paths]
    if [len(array) for array in mapped] != list(lengths):
        raise ValueError(f"{name}: columns of one folder differ in length")
    joined = np.empty(sum(lengths), mapped[0].dtype)
    place = 0
    for path, array in zip(paths, mapped, strict=True):
        with (path / f"{name}.npy").open("rb", buffering=0) as file:
            file.seek(-array.nbytes, os.SEEK_END)
            file.readinto(joined[place : place + len(array)].view(np.uint8).data)
        place += len(array)
    return joined


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
