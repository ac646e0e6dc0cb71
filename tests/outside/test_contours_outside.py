"""Contours, slope and sizes against other programs and published figures."""

import json
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from pydantic import ValidationError
from rasterio.crs import CRS
from skimage.measure import find_contours

from pipeline.landform.contours.contours import INDEX_EVERY
from pipeline.landform.contours.isolines import trace_contours
from pipeline.landform.contours.limits import ALLOWED_SHIFT_SHARE
from pipeline.landform.contours.rings import least_ring_m
from pipeline.lattice.grid import Grid, Heights
from pipeline.norm.symbols import isom
from pipeline.settings import LandformSettings
from pipeline.terrain.relief import slope
from tests import landscape

LEVELS = np.arange(60.0, 160, 5)


def rolling(grid: Grid) -> Heights:
    """Ground with hills, hollows and saddles."""
    return landscape.plane(grid, rise_deg=8, height_m=110) + landscape.rough(grid, spread_m=12, finest_m=10)


def hausdorff_m(lines: list[shapely.LineString], others: list[shapely.LineString]) -> float:
    """Farthest that either set of lines strays from the other, looked at every quarter metre."""
    return float(shapely.hausdorff_distance(shapely.union_all(lines), shapely.union_all(others), densify=0.05))


def write_raster(path: Path, heights: Heights, grid: Grid) -> None:
    """A GeoTIFF for the other program to read."""
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        dtype="float32",
        count=1,
        width=grid.cols,
        height=grid.rows,
        crs=CRS.from_string(grid.crs),
        transform=grid.transform,
    ) as file:
        file.write(heights, 1)


def test_traced_contours_agree_with_marching_squares_of_scikit_image() -> None:
    """Same total length and same course as skimage.measure.find_contours, another implementation."""
    grid = landscape.grid_of(side_m=150)
    ground = rolling(grid)
    lines, at_m = trace_contours(ground, grid, LEVELS)
    east, north = grid.centres()
    for level in np.unique(at_m):
        ours = [shapely.LineString(line) for line, own in zip(lines, at_m, strict=True) if own == level]
        theirs = [
            shapely.LineString(np.column_stack([east[0] + path[:, 1], north[0] - path[:, 0]]))
            for path in find_contours(ground, level)
        ]
        length_m = sum(line.length for line in theirs)
        assert sum(line.length for line in ours) == pytest.approx(length_m, rel=0.002, abs=0.5)
        assert hausdorff_m(ours, theirs) < 0.75  # cells are 1 m; saddle cells may be cut the other way


def test_traced_contours_agree_with_gdal(tmp_path: Path) -> None:
    """Same total length and course as gdal_contour on the same grid, before generalisation."""
    program = shutil.which("gdal_contour")
    if program is None:
        pytest.skip("gdal_contour is not on PATH; Debian has it in gdal-bin")
    grid = landscape.grid_of(side_m=150)
    ground = rolling(grid)
    raster, traced = tmp_path / "ground.tif", tmp_path / "contours.geojson"
    write_raster(raster, ground, grid)
    levels = [str(level) for level in LEVELS]
    subprocess.run([program, "-q", "-a", "elevation", "-fl", *levels, "-f", "GeoJSON", raster, traced], check=True)
    features = json.loads(traced.read_text())["features"]
    lines, at_m = trace_contours(ground, grid, LEVELS)
    west, south, east, north = grid.bounds
    centres = shapely.box(west + 0.5, south + 0.5, east - 0.5, north - 0.5)
    for level in np.unique(at_m):
        ours = [shapely.LineString(line) for line, own in zip(lines, at_m, strict=True) if own == level]
        # GDAL carries contours half a cell further, to the edge of the outer cells.
        theirs = [
            shapely.intersection(shapely.geometry.shape(one["geometry"]), centres)
            for one in features
            if one["properties"]["elevation"] == level
        ]
        length_m = sum(line.length for line in theirs)
        assert sum(line.length for line in ours) == pytest.approx(length_m, rel=0.002, abs=0.5)
        assert hausdorff_m(ours, theirs) < 0.75


def test_slope_of_the_worked_example_of_horns_method() -> None:
    """Esri's documentation of the slope function works one window through: cells of 5 m, slope 75.25762 degrees."""
    window = np.array([[50, 45, 50], [30, 30, 30], [8, 10, 10]], np.float32)
    grid = Grid(landscape.CRS, 100_000, 1_200_000, 5.0, 3, 3)
    assert slope(window, grid)[1, 1] == pytest.approx(75.25762, abs=1e-4)


def test_slope_agrees_with_gdaldem(tmp_path: Path) -> None:
    """GDAL's slope, also after Horn, on the same grid within float32, away from the edge."""
    program = shutil.which("gdaldem")
    if program is None:
        pytest.skip("gdaldem is not on PATH; Debian has it in gdal-bin")
    grid = landscape.grid_of(side_m=80)
    ground = rolling(grid)
    raster, sloped = tmp_path / "ground.tif", tmp_path / "slope.tif"
    write_raster(raster, ground, grid)
    subprocess.run([program, "slope", "-q", raster, sloped], check=True)
    with rasterio.open(sloped) as file:
        theirs = file.read(1)
    np.testing.assert_allclose(slope(ground, grid)[1:-1, 1:-1], theirs[1:-1, 1:-1], atol=0.01)


@pytest.mark.parametrize(
    ("number", "column", "size_m"),
    [
        # Ground sizes that the IOF's translated list of changes to ISOM 2017 (Brazilian federation, 2018) and its
        # O-Map Wiki print beside the millimetres.
        ("101", "min_hill_length_mm", 13.5),
        ("101", "min_hill_width_mm", 9.0),
        ("101", "min_hollow_length_mm", 16.5),
        ("101", "min_hollow_width_mm", 10.5),
        ("103", "min_hill_length_mm", 16.5),
        ("103", "min_hollow_length_mm", 16.5),
        ("107", "min_length_mm", 17.25),
    ],
)
def test_least_sizes_are_those_of_the_isom(number: str, column: str, size_m: float) -> None:
    """The table's millimetres at 1:15 000 are the metres on the ground that the norm's pages print."""
    assert isom(number).ground_m(column) == pytest.approx(size_m)


def test_closed_lines_are_measured_over_all() -> None:
    """A ring runs in the middle of its line: what is 13.5 m over all is shorter by the line, 0.14 mm or 2.1 m."""
    assert least_ring_m("101", higher=True) == pytest.approx((13.5 - 2.1, 9.0 - 2.1))
    assert least_ring_m("101", higher=False) == pytest.approx((16.5 - 2.1, 10.5 - 2.1))
    assert least_ring_m("103", higher=True)[0] == pytest.approx(16.5 - 1.5)


def test_heights_and_counts_are_those_of_the_isom() -> None:
    """ISOM 2017-2 by the O-Map Wiki: 102 every fifth; 103, 104, 107 one metre high; a pit at most 5 m wide."""
    assert INDEX_EVERY == 5
    assert [isom(number).smallest.height_m for number in ("103", "104", "107")] == [1.0, 1.0, 1.0]
    assert isom("112").max_width_m == 5.0


def test_contours_leave_the_ground_by_a_quarter_of_the_interval_at_most() -> None:
    """ISOM 101: 25 %; calming may not be set to take more."""
    assert ALLOWED_SHIFT_SHARE == 0.25
    with pytest.raises(ValidationError, match="calm_share"):
        LandformSettings(calm_share=0.26)
