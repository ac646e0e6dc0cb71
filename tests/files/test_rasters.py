"""Rasters on disk, whole and by parts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio

from pipeline.files import rasters
from pipeline.files.rasters import read_grid, read_heights, write_heights, writing_bytes, writing_heights
from pipeline.lattice.grid import Grid, Heights

GRID = Grid("EPSG:25832", -300, 12_000_400, 0.5, 1200, 700)


@pytest.fixture
def values() -> Heights:
    """Heights with a void."""
    made = np.random.default_rng(1).normal(200, 30, GRID.shape).astype(np.float32)
    made[100:300, 50:90] = np.nan
    return made


def test_parts_make_the_same_file_as_the_whole(tmp_path: Path, values: Heights) -> None:
    """Byte for byte, and nothing else is left in the folder."""
    write_heights(tmp_path / "whole.tif", values, GRID, description="metres")
    with writing_heights(tmp_path / "parts.tif", GRID, description="metres") as put:
        for part in GRID.bands(most_cells=1):
            put(values[GRID.window_of(part)], part)
    assert (tmp_path / "whole.tif").read_bytes() == (tmp_path / "parts.tif").read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["parts.tif", "whole.tif"]


def test_cells_that_no_part_covers_are_unknown(tmp_path: Path, values: Heights) -> None:
    """NaN for heights, 0 for bytes."""
    part = GRID.part((slice(0, 512), slice(0, 700)))
    with writing_heights(tmp_path / "a.tif", GRID, description="metres") as put:
        put(values[:512], part)
    read, grid = read_heights(tmp_path / "a.tif")
    assert grid == GRID == read_grid(tmp_path / "a.tif")
    assert np.array_equal(read[:512], values[:512], equal_nan=True)
    assert np.isnan(read[512:]).all()
    with writing_bytes(tmp_path / "b.tif", GRID, description="light") as put:
        put(np.full(part.shape, 7, np.uint8), part)
    with rasterio.open(tmp_path / "b.tif") as source:
        assert source.nodata == 0
        assert set(np.unique(source.read(1)[512:])) == {0}


@pytest.mark.parametrize("bounds", [(-100.0, 5_999_800.0, 50.0, 5_999_900.0), (-1000.0, 6_000_000.0, 0.0, 6_000_900.0)])
def test_a_part_is_what_the_whole_holds_there(
    tmp_path: Path, values: Heights, bounds: tuple[float, float, float, float]
) -> None:
    """Also where the bounds reach beyond the raster: no cells are made up."""
    write_heights(tmp_path / "a.tif", values, GRID, description="metres")
    read, grid = read_heights(tmp_path / "a.tif", bounds=bounds)
    assert grid == GRID.within(bounds)
    assert read.shape == grid.shape
    assert np.array_equal(read, values[GRID.window_of(grid)], equal_nan=True)


def test_bounds_beside_the_raster_hold_no_cells(tmp_path: Path, values: Heights) -> None:
    """An empty part is no error: fields may lie where the rasters end."""
    write_heights(tmp_path / "a.tif", values, GRID, description="metres")
    read, grid = read_heights(tmp_path / "a.tif", bounds=(9000.0, 0.0, 9100.0, 100.0))
    assert read.size == 0
    assert not grid.rows


def test_a_failed_write_leaves_nothing(tmp_path: Path, values: Heights) -> None:
    """Neither half a raster nor what it was to be made from."""

    def fails() -> None:
        with writing_heights(tmp_path / "a.tif", GRID, description="metres") as put:
            put(values[:512], GRID.part((slice(0, 512), slice(0, 700))))
            raise OSError("disk full")

    with pytest.raises(OSError, match="disk full"):
        fails()
    assert list(tmp_path.iterdir()) == []


def test_gdal_may_keep_a_row_of_tiles_in_memory(
    tmp_path: Path, values: Heights, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rasterio takes the size of the cache in bytes: one of 128 would write and read each tile over and over."""
    asked: list[int] = []
    plain = rasterio.Env

    def env(**options: int) -> rasterio.Env:
        asked.append(options["GDAL_CACHEMAX"])
        return plain(**options)

    monkeypatch.setattr(rasterio, "Env", env)
    write_heights(tmp_path / "heights.tif", values, GRID, description="heights")
    read_heights(tmp_path / "heights.tif")
    tile_bytes = rasters.TILE_CELLS**2 * 4
    assert len(asked) >= 2
    # A kilometre in cells of half a metre is four tiles wide; a cache is no use beyond some hundred.
    assert all(4 * tile_bytes < size <= 2**28 for size in asked)
