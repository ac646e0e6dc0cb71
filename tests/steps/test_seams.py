"""No seam, wherever the area is cut into blocks; and a seam where the halo is too small."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import box

from pipeline.errors import InputError
from pipeline.files import arrays, layers
from pipeline.lattice.blocks import blocks_covering
from pipeline.plan.cut import LEAST_HALO_M
from pipeline.settings import (
    Flow,
    LayerSettings,
    PointsSettings,
    RoofSettings,
    TerrainSettings,
    WireSettings,
)
from pipeline.steps.area.rasters import rasters_of_area
from pipeline.steps.block.block import block
from pipeline.steps.tile.split import split
from tests.runs import SAMPLE, raster_of

TILE = min(SAMPLE.glob("*.laz"))
BOUNDS = [565500.0, 5712000.0, 565650.0, 5712150.0]
CRS = "EPSG:25832"
RIM_CELLS = 8
"""The raster begins up to two cells outside the tile, so that 8 cells of 0.5 m are at least 2 m of survey."""

pytestmark = pytest.mark.slow


def worked_through(folder: Path, flow: Flow) -> Path:
    """The rasters of one sample tile, worked through in blocks of some size with some halo."""
    west, south, east, north = BOUNDS
    blocks = [block.name for block in blocks_covering([(west, south, east, north)], block_m=flow.block_m)]
    split(
        tile=TILE,
        out=folder / "split",
        seen=folder / "seen",
        tile_key=1,
        bounds=BOUNDS,
        blocks=blocks,
        source_crs=CRS,
        crs=CRS,
        height_unit_m=1.0,
        flow=flow,
    )
    arrays.write_json(folder / "decided.json", {"ground_from": "own", "cell_m": 0.5})
    for name in blocks:
        block(
            split=[folder / "split"],
            decided=folder / "decided.json",
            classified=folder / "classified" / name,
            grids=folder / "grids" / name,
            boulders=folder / "boulders" / f"{name}.gpkg",
            block=name,
            crs=CRS,
            flow=flow,
            settings=PointsSettings(),
            roofs=RoofSettings(),
            wires=WireSettings(),
            terrain=TerrainSettings(),
            layers=LayerSettings(),
        )
    joined(folder, folder, blocks, boundary=[])
    return folder


def joined(out: Path, worked: Path, blocks: list[str], *, boundary: list[Path]) -> None:
    """The rasters of an area of some blocks."""
    arrays.write_json(out / "plan.json", {"blocks": blocks})
    rasters_of_area(
        grids=worked / "grids",
        plan=out / "plan.json",
        out=out / "rasters",
        seen=out / "rasters" / "bare_earth.tif",
        counts=out / "counts",
        outline=out / "outline.gpkg",
        boundary=boundary,
    )


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The tile in one block."""
    folder = tmp_path_factory.mktemp("whole")
    return worked_through(folder, Flow(block_m=1000.0, halo_m=LEAST_HALO_M))


@pytest.mark.parametrize("block_m", [100.0, 130.0])
def test_blocks_of_any_size_give_the_same_rasters(whole: Path, tmp_path: Path, block_m: float) -> None:
    """Cell by cell, for the surfaces and for every count.

    The outermost 2 m of the survey are left out: ground is extrapolated there beyond its last returns, from as much of
    the hull as a block sees.
    """
    cut = worked_through(tmp_path, Flow(block_m=block_m, halo_m=LEAST_HALO_M))
    rim = slice(RIM_CELLS, -RIM_CELLS)
    for name in ("bare_earth", "ground_support", "canopy_height"):
        one, other = raster_of(whole, name)[rim, rim], raster_of(cut, name)[rim, rim]
        assert one.shape == other.shape
        assert np.isfinite(one).mean() > 0.9
        assert np.array_equal(one, other, equal_nan=True), f"{name}: {np.nanmax(abs(one - other))} m"
    counts, cut_counts = arrays.read_sums(whole / "counts"), arrays.read_sums(cut / "counts")
    assert set(counts) == set(cut_counts)
    for name, values in counts.items():
        one, other = (np.nan_to_num(grid[rim, rim]) for grid in (values, cut_counts[name]))
        assert np.allclose(one, other, atol=1e-3), name


def test_without_a_halo_there_is_a_seam(whole: Path, tmp_path: Path) -> None:
    """The comparison can fail: blocks that do not see their neighbours differ at the edges."""
    blind = Flow(block_m=100.0, halo_m=0.5)
    cut = worked_through(tmp_path, blind)
    rim = slice(RIM_CELLS, -RIM_CELLS)
    one, other = (raster_of(folder, "bare_earth")[rim, rim] for folder in (whole, cut))
    assert not np.array_equal(one, other, equal_nan=True)


def test_a_boundary_limits_the_outline_and_nothing_that_is_looked_at(whole: Path, tmp_path: Path) -> None:
    """The outline ends where the mapper's boundary does; the rasters go on as far as there are returns."""
    boundary = box(565520, 5712020, 565600, 5712090)
    gpd.GeoDataFrame(geometry=[boundary], crs=CRS).to_crs("EPSG:4326").to_file(tmp_path / "boundary.gpkg")
    joined(tmp_path, whole, names_of(whole), boundary=[tmp_path / "boundary.gpkg"])
    outline, crs = layers.read_outline(tmp_path / "outline.gpkg")
    assert crs == CRS
    assert outline.symmetric_difference(boundary).area < 1.0
    assert np.array_equal(raster_of(tmp_path, "bare_earth"), raster_of(whole, "bare_earth"), equal_nan=True)


def test_a_boundary_beside_the_returns_is_refused(whole: Path, tmp_path: Path) -> None:
    """Within a tile's frame there may be no returns; then too the message names the boundary."""
    gpd.GeoDataFrame(geometry=[box(0, 0, 100, 100)], crs=CRS).to_file(tmp_path / "boundary.gpkg")
    with pytest.raises(InputError, match="boundary lies outside"):
        joined(tmp_path, whole, names_of(whole), boundary=[tmp_path / "boundary.gpkg"])


def names_of(worked: Path) -> list[str]:
    """The blocks that were worked through."""
    return [path.name for path in (worked / "grids").glob("*")]
