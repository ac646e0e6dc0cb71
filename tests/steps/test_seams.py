"""No seam, wherever the area is cut into blocks; and a seam where the halo is too small."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import box

from pipeline.errors import InputError
from pipeline.files import arrays, layers
from pipeline.lattice.blocks import blocks_covering
from pipeline.plan.plan import HALO_M
from pipeline.settings import (
    Flow,
    LayerSettings,
    PointsSettings,
    RoofSettings,
    TerrainSettings,
    WireSettings,
)
from pipeline.steps.area.rasters import rasters_of_area
from pipeline.steps.block.classify import classify
from pipeline.steps.block.grids import grids
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
        tile_key=1,
        bounds=BOUNDS,
        blocks=blocks,
        source_crs=CRS,
        crs=CRS,
        height_unit_m=1.0,
        flow=flow,
    )
    arrays.write_json(folder / "choice.json", {"ground_from": "own"})
    for name in blocks:
        classified = folder / "classified" / name
        classify(
            split=[folder / "split"],
            choice=folder / "choice.json",
            out=classified,
            block=name,
            flow=flow,
            settings=PointsSettings(),
            roofs=RoofSettings(),
            wires=WireSettings(),
        )
    returns = sorted((folder / "classified").glob("*"))
    for name in blocks:
        grids(
            returns=returns,
            out=folder / "grids" / name,
            block=name,
            crs=CRS,
            cell_m=0.5,
            flow=flow,
            terrain=TerrainSettings(),
            layers=LayerSettings(),
        )
    rasters_of_area(
        grids=folder / "grids",
        blocks=blocks,
        out=folder / "rasters",
        seen=folder / "rasters" / "bare_earth.tif",
        counts=folder / "counts",
        outline=folder / "outline.gpkg",
        boundary=[],
    )
    return folder


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The tile in one block."""
    folder = tmp_path_factory.mktemp("whole")
    return worked_through(folder, Flow(block_m=1000.0, halo_m=HALO_M))


@pytest.mark.parametrize("block_m", [100.0, 130.0])
def test_blocks_of_any_size_give_the_same_rasters(whole: Path, tmp_path: Path, block_m: float) -> None:
    """Cell by cell, for the surfaces and for every count.

    The outermost 2 m of the survey are left out: ground is extrapolated there beyond its last returns, from as much of
    the hull as a block sees.
    """
    cut = worked_through(tmp_path, Flow(block_m=block_m, halo_m=HALO_M))
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


def test_a_boundary_limits_the_area(whole: Path, tmp_path: Path) -> None:
    """The outline and the rasters end where the mapper's boundary does."""
    boundary = box(565520, 5712020, 565600, 5712090)
    gpd.GeoDataFrame(geometry=[boundary], crs=CRS).to_crs("EPSG:4326").to_file(tmp_path / "boundary.gpkg")
    rasters_of_area(
        grids=whole / "grids",
        blocks=[path.name for path in (whole / "grids").glob("*")],
        out=tmp_path / "rasters",
        seen=tmp_path / "rasters" / "bare_earth.tif",
        counts=tmp_path / "counts",
        outline=tmp_path / "outline.gpkg",
        boundary=[tmp_path / "boundary.gpkg"],
    )
    outline, crs = layers.read_outline(tmp_path / "outline.gpkg")
    assert crs == CRS
    assert outline.symmetric_difference(boundary).area < 1.0
    assert raster_of(tmp_path, "bare_earth").shape in {(140, 160), (141, 161), (141, 160), (140, 161), (142, 162)}


def test_a_boundary_beside_the_returns_is_refused(whole: Path, tmp_path: Path) -> None:
    """Within a tile's frame there may be no returns; then too the message names the boundary."""
    gpd.GeoDataFrame(geometry=[box(0, 0, 100, 100)], crs=CRS).to_file(tmp_path / "boundary.gpkg")
    with pytest.raises(InputError, match="boundary lies outside"):
        rasters_of_area(
            grids=whole / "grids",
            blocks=[path.name for path in (whole / "grids").glob("*")],
            out=tmp_path / "rasters",
            seen=tmp_path / "rasters" / "bare_earth.tif",
            counts=tmp_path / "counts",
            outline=tmp_path / "outline.gpkg",
            boundary=[tmp_path / "boundary.gpkg"],
        )
