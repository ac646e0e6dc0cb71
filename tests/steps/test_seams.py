"""No seam, wherever the area is cut into blocks; and a seam where the halo is too small."""

from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pytest
from shapely.geometry import box

from pipeline.errors import InputError
from pipeline.files import arrays, grid_files, layers
from pipeline.lattice.blocks import blocks_covering
from pipeline.plan.cut import LEAST_HALO_M as HALO_M
from pipeline.plan.cut import halo_for
from pipeline.points.classes import classify_returns
from pipeline.returns.asprs import GROUND
from pipeline.returns.cloud import Cloud
from pipeline.settings import (
    Flow,
    LayerSettings,
    PointsSettings,
    RoofSettings,
    TerrainSettings,
    WireSettings,
)
from pipeline.steps.area.ground_report import ground_report
from pipeline.steps.area.rasters import rasters_of_area
from pipeline.steps.block.block import block
from pipeline.steps.block.reaches import halo_needed_m
from pipeline.steps.tile.split import split
from tests.runs import SAMPLE, raster_of

TILE = min(SAMPLE.glob("*.laz"))
BOUNDS = [565500.0, 5712000.0, 565650.0, 5712150.0]
CRS = "EPSG:25832"
pytestmark = pytest.mark.slow


def worked_through(folder: Path, flow: Flow, tile: Path = TILE) -> Path:
    """The rasters of one sample tile, worked through in blocks of some size with some halo."""
    west, south, east, north = BOUNDS
    blocks = [block.name for block in blocks_covering([(west, south, east, north)], block_m=flow.block_m)]
    split(
        tile=tile,
        out=folder / "split",
        seen=folder / "seen",
        beside=folder / "beside",
        bounds=BOUNDS,
        blocks=blocks,
        source_crs=CRS,
        crs=CRS,
        height_unit_m=1.0,
        flow=flow,
    )
    arrays.write_json(folder / "decided.json", {"cell_m": 0.5, "line_shifts": []})
    for name in blocks:
        block(
            split=[folder / "split"],
            decided=folder / "decided.json",
            classified=folder / "classified" / name,
            grids=folder / "grids" / name,
            boulders=folder / "boulders" / f"{name}.gpkg",
            disputes=folder / "disputes" / f"{name}.json",
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


def classes_of(folder: Path) -> np.ndarray:
    """Places in the tile and classes of all returns, in the order of the places."""
    parts = [arrays.map_arrays(path) for path in sorted((folder / "classified").glob("*"))]
    index, asprs_class = (
        np.concatenate([part[f"split.{name}"] for part in parts if part]) for name in ("index", "asprs_class")
    )
    order = np.argsort(index)
    return np.stack((index[order], asprs_class[order]))


def boulders_of(folder: Path) -> list[tuple[float, ...]]:
    """Place, height and confidence of every candidate."""
    tables = [gpd.read_file(path) for path in sorted((folder / "boulders").glob("*.gpkg"))]
    found = [
        (place.x, place.y, height, sure)
        for table in tables
        for place, height, sure in zip(table.geometry, table.height_m, table.confidence, strict=True)
    ]
    return sorted((round(e, 3), round(n, 3), round(h, 6), round(c, 6)) for e, n, h, c in found)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The tile in one block."""
    folder = tmp_path_factory.mktemp("whole")
    return worked_through(folder, Flow(block_m=1000.0, halo_m=HALO_M))


@pytest.mark.parametrize("block_m", [100.0, 130.0])
def test_blocks_of_any_size_give_the_same_rasters(whole: Path, tmp_path: Path, block_m: float) -> None:
    """Return by return and cell by cell, up to the rim of the survey, for the surfaces and for every count."""
    cut = worked_through(tmp_path, Flow(block_m=block_m, halo_m=HALO_M))
    assert np.array_equal(classes_of(whole), classes_of(cut))
    for name in ("bare_earth", "ground_support", "canopy_height"):
        one, other = raster_of(whole, name), raster_of(cut, name)
        assert one.shape == other.shape
        assert np.isfinite(one).mean() > 0.9
        assert np.array_equal(one, other, equal_nan=True), f"{name}: {np.nanmax(abs(one - other))} m"
    counts, cut_counts = grid_files.read_sums(whole / "counts"), grid_files.read_sums(cut / "counts")
    assert set(counts) == set(cut_counts)
    for name, values in counts.items():
        assert np.array_equal(np.nan_to_num(values), np.nan_to_num(cut_counts[name])), name
    assert boulders_of(whole) == boulders_of(cut)


@pytest.fixture(scope="module")
def with_two_grounds(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The tile with a ground of its producer that is thin, has holes, and holds shrubs in some places."""
    las, random = laspy.read(TILE), np.random.default_rng(7)
    cloud = Cloud.of(np.column_stack((las.x, las.y, las.z)))
    own = classify_returns(cloud, settings=PointsSettings(ground_from="own"))
    patch = np.floor(cloud.enh[:, :2] / 17).astype(np.int64).sum(axis=1) % 4
    given = (own.asprs_class == GROUND) & (random.random(len(cloud)) < 0.2) & (patch > 0)
    given |= (patch == 1) & (own.height_above_m > 0.4) & (own.height_above_m < 3)
    las.classification = np.where(given, GROUND, 1).astype(np.uint8)
    path = tmp_path_factory.mktemp("given") / TILE.name
    las.write(path)
    return path


def test_two_grounds_are_judged_the_same_in_blocks_of_any_size(with_two_grounds: Path, tmp_path: Path) -> None:
    """Classes, bare earth and what is told of disputes; and the producer's ground does matter here."""
    whole = worked_through(tmp_path / "whole", Flow(block_m=1000.0, halo_m=HALO_M), with_two_grounds)
    cut = worked_through(tmp_path / "cut", Flow(block_m=70.0, halo_m=HALO_M), with_two_grounds)
    assert np.array_equal(classes_of(whole), classes_of(cut))
    assert np.array_equal(raster_of(whole, "bare_earth"), raster_of(cut, "bare_earth"), equal_nan=True)
    for folder in (whole, cut):
        ground_report(disputes=folder / "disputes", plan=folder / "plan.json", out=folder / "ground.txt")
    told = (whole / "ground.txt").read_text()
    assert "m apart" in told
    assert told == (cut / "ground.txt").read_text()


def test_the_halo_is_as_wide_as_the_reaches_of_the_methods() -> None:
    """As far as rasters and boulders look, and beyond that as far as a class there depends on returns."""
    for window_m in (2.0, PointsSettings().ground_window_m, 60.0):
        assert halo_needed_m(window_m) <= halo_for(window_m)


def test_without_a_halo_there_is_a_seam(whole: Path, tmp_path: Path) -> None:
    """The comparison can fail: blocks that do not see their neighbours differ at the edges."""
    blind = Flow(block_m=100.0, halo_m=0.5)
    cut = worked_through(tmp_path, blind)
    one, other = (raster_of(folder, "bare_earth") for folder in (whole, cut))
    assert not np.array_equal(one, other, equal_nan=True)


def test_a_boundary_limits_the_outline_and_nothing_that_is_looked_at(whole: Path, tmp_path: Path) -> None:
    """The outline ends where the mapper's boundary does; rasters and covered ground go on to the last return."""
    boundary = box(565520, 5712020, 565600, 5712090)
    gpd.GeoDataFrame(geometry=[boundary], crs=CRS).to_crs("EPSG:4326").to_file(tmp_path / "boundary.gpkg")
    joined(tmp_path, whole, names_of(whole), boundary=[tmp_path / "boundary.gpkg"])
    outline, crs = layers.read_outline(tmp_path / "outline.gpkg")
    assert crs == CRS
    assert outline.symmetric_difference(boundary).area < 1.0
    covered, _ = layers.read_outline(tmp_path / "outline.gpkg", layer="covered")
    assert covered.equals(layers.read_outline(whole / "outline.gpkg")[0])
    assert covered.contains(outline.buffer(-0.1))
    assert np.array_equal(raster_of(tmp_path, "bare_earth"), raster_of(whole, "bare_earth"), equal_nan=True)


def test_a_boundary_beside_the_returns_is_refused(whole: Path, tmp_path: Path) -> None:
    """Within a tile's frame there may be no returns; then too the message names the boundary."""
    gpd.GeoDataFrame(geometry=[box(0, 0, 100, 100)], crs=CRS).to_file(tmp_path / "boundary.gpkg")
    with pytest.raises(InputError, match="boundary lies outside"):
        joined(tmp_path, whole, names_of(whole), boundary=[tmp_path / "boundary.gpkg"])


def names_of(worked: Path) -> list[str]:
    """The blocks that were worked through."""
    return [path.name for path in (worked / "grids").glob("*")]
