"""What steps hand to each other: columns of returns and per-block grids, as plain numpy archives.

They are read once or twice and thrown away, so they are not compressed: decoding would cost more than the disk.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, fields
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipeline.files.atomic import replacing, write_text
from pipeline.grid import Grid, Heights
from pipeline.points.cloud import Cloud

Arrays = Mapping[str, NDArray[np.generic]]


def write_arrays(path: Path, arrays: Arrays, /) -> None:
    """Write named arrays."""
    with replacing(path) as part, part.open("wb") as target:
        np.savez(target, **dict(arrays))  # type: ignore[arg-type]


def read_arrays(path: Path, /) -> dict[str, NDArray[np.generic]]:
    """Read what `write_arrays` wrote."""
    with np.load(path, allow_pickle=False) as archive:
        return {name: archive[name] for name in archive.files}


def write_returns(path: Path, cloud: Cloud, extra: Arrays, /) -> None:
    """Write the columns of a cloud and further columns of the same length."""
    write_arrays(path, {f.name: getattr(cloud, f.name) for f in fields(Cloud)} | dict(extra))


def read_returns(path: Path, /) -> tuple[Cloud, dict[str, NDArray[np.generic]]]:
    """Read what `write_returns` wrote: the cloud, and the further columns."""
    arrays = read_arrays(path)
    cloud = Cloud(**{f.name: arrays.pop(f.name) for f in fields(Cloud)})  # type: ignore[arg-type]
    return cloud, arrays


def write_grids(path: Path, grids: Arrays, grid: Grid, /) -> None:
    """Write rasters of one block together with the grid they lie on."""
    place = np.frombuffer(json.dumps(asdict(grid)).encode(), np.uint8)
    write_arrays(path, {"_grid": place, **grids})


def read_grids(path: Path, /) -> tuple[dict[str, NDArray[np.generic]], Grid]:
    """Read what `write_grids` wrote."""
    arrays = read_arrays(path)
    grid = Grid(**json.loads(arrays.pop("_grid").tobytes()))
    return arrays, grid


def read_sums(path: Path, /) -> dict[str, Heights]:
    """Read counts and sums per cell, all float32."""
    return {name: values.astype(np.float32) for name, values in read_grids(path)[0].items()}


def write_json(path: Path, content: object, /) -> None:
    """Write a JSON file, keys sorted so that equal content is equal bytes."""
    write_text(path, json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False) + "\n")


def read_json(path: Path, /) -> dict[str, object]:
    """Read a JSON object."""
    content = json.loads(path.read_text(encoding="utf-8"))
    if not isinstance(content, dict):
        raise TypeError(f"{path} holds no JSON object")
    return content
