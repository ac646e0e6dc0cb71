"""Rasters of the area made band by band: the same as in one piece."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import shapely

from pipeline.features import make_features
from pipeline.files import arrays, grid_files, layers, rasters
from pipeline.lattice.grid import Grid
from pipeline.steps.area.bare_earth import bare_earth
from pipeline.steps.area.rasters import rasters_of_area
from pipeline.steps.area.relief import relief

GRID = Grid("EPSG:25832", -400, 12_000_400, 1.0, 300, 250)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Bare earth with a void, and a lake across what will be the border of two bands."""
    heights = np.random.default_rng(1).normal(200, 0.2, GRID.shape).astype(np.float32)
    heights[40:70, 50:90] = np.nan
    rasters.write_heights(tmp_path / "seen.tif", heights, GRID, description="metres")
    lake = shapely.Point(-300.0, 12_000_300.0).buffer(60)
    features = make_features([lake], crs=GRID.crs, symbol="301", confidence=0.9, evidence="made", elevation_m=200.0)
    layers.write_features(tmp_path / "water.gpkg", features)
    return tmp_path


def made(folder: Path) -> dict[str, bytes]:
    """The steps' rasters."""
    bare_earth(seen=folder / "seen.tif", water=folder / "water.gpkg", out=folder / "bare_earth.tif")
    relief(
        bare_earth=folder / "bare_earth.tif",
        slope_out=folder / "slope.tif",
        shaded_relief_out=folder / "shaded_relief.tif",
    )
    return {name: (folder / f"{name}.tif").read_bytes() for name in ("bare_earth", "slope", "shaded_relief")}


def narrow(grid: Grid) -> Iterator[Grid]:
    """Bands of 16 rows."""
    for first in range(0, grid.rows, 16):
        yield grid.part((slice(first, min(first + 16, grid.rows)), slice(0, grid.cols)))


def test_bands_leave_no_seam(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Byte for byte, slope and light and flat lakes."""
    whole = made(folder)
    monkeypatch.setattr(Grid, "bands", narrow)
    assert made(folder) == whole
    assert (rasters.read_heights(folder / "bare_earth.tif")[0] == 200).sum() > 10_000


def test_joined_blocks_do_not_depend_on_the_bands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Outline, rasters and counts of two blocks, in one band and in many."""
    random = np.random.default_rng(4)
    halves = [GRID.part((slice(0, 300), columns)) for columns in (slice(0, 120), slice(120, 250))]
    for name, half in zip("ab", halves, strict=True):
        names = ("bare_earth", "ground_support", "canopy_height", "all_returns", "pulses")
        made = {key: random.uniform(0, 5, half.shape).astype(np.float32) for key in names}
        made["all_returns"][:13, :9] = 0
        grid_files.write_grids(tmp_path / "grids" / name, made, half)
    arrays.write_json(tmp_path / "plan.json", {"blocks": ["a", "b"]})

    def joined(out: Path) -> tuple[dict[str, bytes], np.ndarray, str]:
        rasters_of_area(
            grids=tmp_path / "grids",
            plan=tmp_path / "plan.json",
            out=out,
            seen=out / "bare_earth.tif",
            counts=out / "counts",
            outline=out / "outline.gpkg",
            boundary=[],
        )
        # The surface as seen is written band by band: its pieces lie in another order in the file.
        seen = {"seen": rasters.read_heights(out / "bare_earth.tif")[0].tobytes()}
        files = seen | {path.name: path.read_bytes() for path in out.glob("*.tif") if path.stem != "bare_earth"}
        return files, grid_files.read_sums(out / "counts")["pulses"], layers.read_outline(out / "outline.gpkg")[0].wkt

    one = joined(tmp_path / "one")
    monkeypatch.setattr(Grid, "bands", narrow)
    many = joined(tmp_path / "many")
    assert one[0] == many[0]
    assert len(one[0]) == 3
    assert np.array_equal(one[1], many[1], equal_nan=True)
    assert one[2] == many[2]
