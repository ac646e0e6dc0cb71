"""Backdrops: what grey and green mean, where the turned picture lies, and how other programs read them."""

import datetime
import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine
from PIL import Image
from shapely.geometry import box

from pipeline.exports.backdrops.intensity import as_shares, brightness, limits_of
from pipeline.exports.backdrops.kinds import BACKDROPS, STEEPEST_DEG, green, grey, local_relief
from pipeline.exports.backdrops.turned import turned_frame, world_file
from pipeline.exports.formats import BACKDROP_SOURCES, FILES
from pipeline.files import grid_files, layers, rasters
from pipeline.files.exports.unasked import drop_unasked
from pipeline.lattice.grid import Grid
from pipeline.sheet.page.north import north_of_area
from pipeline.sheet.page.page import frame_of
from pipeline.steps.exports.backdrop import backdrop

CRS = "EPSG:25832"
GRID = Grid(CRS, 1_200_000, 10_600_300, 0.5, 240, 320)
NAN = np.float32(np.nan)
MAP_DATE = datetime.date(2027, 4, 10)


def test_slope_is_white_where_level_and_black_where_steep() -> None:
    """0 degrees is white, the steepest and anything above black, unknown is clear."""
    values = np.array([[0.0, STEEPEST_DEG / 2, STEEPEST_DEG, 80.0, NAN]], np.float32)
    bands = BACKDROPS["slope"].draw(values, GRID)
    assert bands[0, 0, :4].tolist() == [255, 128, 0, 0]
    assert bands[1, 0].tolist() == [255, 255, 255, 255, 0]


def test_grey_may_be_given_either_way_round() -> None:
    """The first limit is black, the second white."""
    values = np.array([[1.0, 3.0]], np.float32)
    assert grey(values, (1.0, 3.0))[0].tolist() == [[0, 255]]
    assert grey(values, (3.0, 1.0))[0].tolist() == [[255, 0]]


def test_growth_is_greener_the_more_there_is() -> None:
    """White without growth; red falls faster than green as it grows."""
    bands = green(np.array([[0.0, 10.0, 30.0, NAN]], np.float32), 30.0)
    assert bands[:, 0, 0].tolist() == [255, 255, 255, 255]
    assert bands[0, 0, 0] > bands[0, 0, 1] > bands[0, 0, 2]
    assert bands[1, 0, 2] > bands[0, 0, 2]
    assert bands[3, 0, 3] == 0


def test_local_relief_shows_a_mound_on_a_slope() -> None:
    """On an even slope nothing stands out, however steep; a mound of 1 m does, and the ground around it sinks."""
    east, north = GRID.centres()
    plane = (0.4 * (east[None, :] - east[0]) + 0.1 * (north[:, None] - north[-1])).astype(np.float32)
    away = np.hypot(east[None, :] - east[160], north[:, None] - north[120])
    mound = np.where(away < 4.0, np.cos(away / 4.0 * np.pi / 2), 0.0).astype(np.float32)
    inner = np.s_[60:180, 60:260]
    assert np.abs(local_relief(plane, GRID)[inner]).max() < 0.02
    found = local_relief(plane + mound, GRID)
    assert 0.6 < found[120, 160] < 1.0
    assert found[120, 160 + 20] < -0.02


def test_brightness_is_the_mean_of_the_returns_near() -> None:
    """Single returns on a road of 900 among ground of 300: both are told, and a gap between returns is closed."""
    random = np.random.default_rng(5)
    returns = (random.uniform(size=GRID.shape) < 0.3).astype(np.float32)
    shine = np.where(np.arange(GRID.cols)[None, :] < 160, 900.0, 300.0).astype(np.float32)
    found = brightness(returns * shine, returns, GRID)
    assert np.isfinite(found).all()
    assert found[100, 50] == pytest.approx(900, rel=1e-3)
    assert found[100, 300] == pytest.approx(300, rel=1e-3)
    dark, bright = limits_of([found])
    assert (dark, bright) == (pytest.approx(300, rel=0.02), pytest.approx(900, rel=0.02))
    shares = as_shares(found, (dark, bright))
    assert shares[100, 50] > 0.95
    assert shares[100, 300] < 0.05
    assert limits_of([np.full((9, 9), NAN)]) == (0.0, 1.0)


def test_a_world_file_counts_from_the_middle_of_the_first_cell() -> None:
    """Six lines: steps along a row, down a column, and where the middle of the first cell lies."""
    lines = [float(line) for line in world_file(Affine(0.5, 0.0, 100.0, 0.0, -0.5, 200.0)).splitlines()]
    assert lines == [0.5, 0.0, 0.0, -0.5, 100.25, 199.75]


def made_folder(folder: Path) -> Path:
    """What a run leaves that backdrops are made from: slope steep in one place, an outline, and reports."""
    area = box(*GRID.bounds)
    layers.write_layers(folder / "outline.gpkg", {"outline": gpd.GeoDataFrame(geometry=[area], crs=CRS)})
    slope = np.full(GRID.shape, 5.0, np.float32)
    slope[100:110, 200:210] = 60.0
    rasters.write_heights(folder / "slope.tif", slope, GRID, description="slope")
    shine = np.full(GRID.shape, 10.0, np.float32)
    counts = {"lone_ground_intensity_sum": shine * 2, "lone_ground_returns": np.full(GRID.shape, 2.0, np.float32)}
    grid_files.write_grids(folder / "counts", counts, GRID)
    for name, content in (
        ("survey", {"survey_line": "Invented survey."}),
        ("season", {"message": "Leaves off."}),
        ("borrowed", {"sources": [{"file": "a.gpx", "credit": "Invented county, CC0"}]}),
    ):
        (folder / f"{name}.json").write_text(json.dumps(content), encoding="utf-8")
    return folder


def drawn(folder: Path, kind: str, source: str) -> Path:
    """The step, as the rule calls it; the folder of what it wrote."""
    out = folder / "backdrops"
    backdrop(
        kind=kind,
        source=folder / source,
        outline=folder / "outline.gpkg",
        survey=folder / "survey.json",
        season=folder / "season.json",
        borrowed=folder / "borrowed.json",
        out=out / f"{kind}.tif",
        turned_out=out / f"{kind}_turned.tif",
        name="Hollin Edge",
        scale=10000,
        interval_m=5.0,
        map_date=MAP_DATE.isoformat(),
    )
    return out


def darkest(path: Path) -> tuple[float, float]:
    """East and north of the middle of what is black in a picture, as GDAL places it."""
    with rasterio.open(path) as source:
        assert source.crs.to_epsg() == 25832
        grey_band, known = source.read(1), source.read(source.count)
        row, col = (axis.mean() + 0.5 for axis in np.nonzero((grey_band < 60) & (known == 255)))
        east, north = source.transform @ (col, row)
    return float(east), float(north)


def test_every_picture_has_the_steep_place_where_it_lies(tmp_path: Path) -> None:
    """GeoTIFF and PNG, upright and turned: GDAL finds the black square in the same place to half a cell."""
    out = drawn(made_folder(tmp_path), "slope", "slope.tif")
    east, north = GRID.centres()
    wanted = (east[200:210].mean(), north[100:110].mean())
    for name in ("slope.tif", "slope.png", "slope_turned.tif", "slope_turned.png"):
        assert np.hypot(*np.subtract(darkest(out / name), wanted)) < 0.25, name
    with rasterio.open(out / "slope_turned.tif") as source:
        assert "Invented county, CC0" in source.tags()["CREDIT"]
        assert source.tags()["CAUTION"]


def test_the_turned_picture_lies_under_the_sheets_map(tmp_path: Path) -> None:
    """Its rows run along magnetic east, and its upper left corner is that of the sheet's map."""
    out = drawn(made_folder(tmp_path), "slope", "slope.tif")
    area = box(*GRID.bounds)
    north = north_of_area(area, crs=CRS, date=MAP_DATE)
    frame = frame_of(area, north=north, scale=10000)
    with rasterio.open(out / "slope_turned.png") as source:
        place, size = source.transform, source.shape
    along = np.degrees(np.arctan2(-place.d, place.a))
    assert along == pytest.approx(north.grid_deg, abs=1e-4)
    assert np.allclose(frame.map_from_ground @ (place.c, place.f), (0.0, frame.height_mm), atol=1e-4)
    assert np.hypot(place.a, place.d) == pytest.approx(GRID.cell_m, abs=1e-6)
    assert size[1] * GRID.cell_m == pytest.approx(frame.width_mm * 10 * north.scale_factor, abs=GRID.cell_m)
    assert turned_frame(frame, cell_m=GRID.cell_m)[1:] == size


def test_a_world_file_alone_places_the_picture(tmp_path: Path) -> None:
    """Whoever knows no GDAL reads six numbers: the black square lies where they say."""
    out = drawn(made_folder(tmp_path), "slope", "slope.tif")
    a, d, b, e, c, f = (float(line) for line in (out / "slope_turned.pgw").read_text().splitlines())
    picture = np.array(Image.open(out / "slope_turned.png"))
    row, col = (axis.mean() for axis in np.nonzero((picture[..., 0] < 60) & (picture[..., 1] == 255)))
    east, north = GRID.centres()
    found = (a * col + b * row + c, d * col + e * row + f)
    assert np.hypot(*np.subtract(found, (east[200:210].mean(), north[100:110].mean()))) < 0.25


def test_intensity_is_made_from_counts(tmp_path: Path) -> None:
    """Ground of one brightness is one grey, and known everywhere."""
    out = drawn(made_folder(tmp_path), "intensity", "counts")
    with rasterio.open(out / "intensity.tif") as source:
        bands = source.read()
    assert np.ptp(bands[0]) == 0
    assert (bands[1] == 255).all()


def test_what_is_no_longer_asked_for_goes(tmp_path: Path) -> None:
    """An export of a draft of before goes with its request; a mapper's own file in the folder stays."""
    names = [f"exports/{FILES['gpx']}", f"exports/{FILES['dxf']}", "exports/mine.dxf", "backdrops/slope_turned.pgw"]
    for name in [*names, "backdrops/relief.png"]:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    drop_unasked(tmp_path, exports=["gpx"], backdrops=["relief"])
    left = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*.*")}
    assert left == {names[0], names[2], "backdrops/relief.png"}


def test_all_backdrops_are_told_how_to_be_drawn() -> None:
    """Each has its source and its drawing."""
    assert set(BACKDROPS) == set(BACKDROP_SOURCES)
