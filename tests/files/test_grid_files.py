"""Rasters that steps hand to each other: small on disk, the same when read, whole, in part, from one folder or many."""

import zlib
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest

from pipeline.files.grid_files import (
    Mosaic,
    as_small,
    read_grid_of,
    read_sums,
    read_window,
    write_grids,
    write_sums_of_blocks,
)
from pipeline.lattice.grid import Grid


def test_grids_come_back_with_their_place(tmp_path: Path) -> None:
    """Grid, names and values; a block without returns has a grid and no raster."""
    grid = Grid("EPSG:25832", 800_000, 11_400_000, 0.5, 2, 3)
    counts = np.arange(6, dtype=np.uint16).reshape(2, 3)
    write_grids(tmp_path / "a", {"returns": counts}, grid)
    write_grids(tmp_path / "b", {}, grid)
    assert read_grid_of(tmp_path / "a") == (grid, ("returns",))
    assert read_grid_of(tmp_path / "b") == (grid, ())
    read = read_sums(tmp_path / "a")["returns"]
    assert read.dtype == np.float32
    assert np.array_equal(read, counts)
    read += 1  # a later step may go on counting: it must not write through to the file
    assert np.array_equal(read_sums(tmp_path / "a")["returns"], counts)


def test_sums_of_blocks_are_read_where_they_lie(tmp_path: Path) -> None:
    """As if they had been joined: whole, in part, NaN where there is no block; the folder may move as a whole."""
    whole = Grid("EPSG:25832", -10, 40, 1.0, 40, 60)
    values = np.random.default_rng(1).normal(size=whole.shape).astype(np.float32)
    blocks = [whole.part((slice(r, r + 20), slice(c, c + 20))) for r in (0, 20) for c in (0, 20, 40)][:-1]
    folders = [tmp_path / "out" / "grids" / f"b{i}" for i in range(len(blocks))]
    for folder, block in zip(folders, blocks, strict=True):
        write_grids(folder, {"pulses": values[whole.window_of(block)], "other": np.zeros(block.shape)}, block)
    mosaic = Mosaic.of(folders)
    assert mosaic is not None
    assert mosaic.grid == whole
    write_sums_of_blocks(tmp_path / "out" / "counts", mosaic, whole, ["pulses"])
    (tmp_path / "out").rename(tmp_path / "moved")
    counts = tmp_path / "moved" / "counts"
    values[20:, 40:] = np.nan
    assert list(read_sums(counts)) == ["pulses"]
    assert np.array_equal(read_sums(counts)["pulses"], values, equal_nan=True)
    part = whole.part((slice(7, 33), slice(15, 51)))
    assert np.array_equal(
        read_sums(counts, ("pulses",), bounds=part.bounds)["pulses"], values[whole.window_of(part)], equal_nan=True
    )


def test_no_block_with_a_return_makes_no_mosaic(tmp_path: Path) -> None:
    """A block without returns has a grid and no rasters on it."""
    write_grids(tmp_path / "a", {}, Grid("EPSG:25832", 0, 10, 1.0, 10, 10))
    assert Mosaic.of([tmp_path / "a"]) is None


@pytest.mark.parametrize(
    ("values", "kind"),
    [
        ([0.0, 255.0], np.uint8),
        ([0.0, 256.0], np.uint16),
        ([3.0, 65_536.0], np.uint32),
        ([0.0, 4.5], np.float32),
        ([-1.0, 4.0], np.float32),
        ([np.nan, 4.0], np.float32),
        ([np.inf, 4.0], np.float32),
        ([0.0, 2.0**32], np.float32),
        ([], np.uint8),
    ],
)
def test_counts_take_the_least_room_that_holds_them(values: list[float], kind: type) -> None:
    """Whole numbers become integers as small as they may be, all else keeps its fractions and what is unknown."""
    given = np.array(values, np.float32)
    small = as_small(given)
    assert small.dtype == kind
    assert np.array_equal(small.astype(np.float32), given, equal_nan=True)


def test_rasters_are_small_on_disk_and_read_by_others(tmp_path: Path) -> None:
    """Judges outside the project: zlib and NumPy, which find the same numbers. Plain float32 is 4 bytes a cell."""
    grid = Grid("EPSG:25832", 800_000, 11_400_000, 0.5, 700, 600)
    random = np.random.default_rng(3)
    given = {
        "pulses": random.poisson(2.0, grid.shape).astype(np.float32),
        "lowest_last": (200 + random.normal(0, 5, grid.shape)).astype(np.float32),
        "none": np.zeros(grid.shape, np.float32),
    }
    write_grids(tmp_path / "a", given, grid)
    for name, values in given.items():
        on_disk = (tmp_path / "a" / f"{name}.npy.z").read_bytes()
        assert np.array_equal(np.load(BytesIO(zlib.decompress(on_disk))), values)
        assert np.array_equal(read_sums(tmp_path / "a", (name,))[name], values)
        window = slice(498, 600), slice(20, 530)
        assert np.array_equal(read_window(tmp_path / "a", name, window), values[window])
    bytes_a_cell = {
        name: (tmp_path / "a" / f"{name}.npy.z").stat().st_size / values.size for name, values in given.items()
    }
    assert bytes_a_cell["pulses"] < 0.5
    assert bytes_a_cell["none"] < 0.01
