"""Exports opened by libraries that did not write them: as many features as the draft has, in the right places."""

import io
import sqlite3
import zipfile
from collections import Counter
from pathlib import Path

import geopandas as gpd
import gpxpy
import numpy as np
import pyogrio
import pyproj
import pytest
import rasterio
import rasterio.features
import shapefile as pyshp
import shapely
from affine import Affine
from PIL import Image
from pmtiles.reader import MemorySource, Reader, all_tiles
from shapely.geometry import box

from pipeline.exports.dxf import dxf_text
from pipeline.exports.geojson import geojson_text
from pipeline.exports.gpx import gpx_layers, gpx_text
from pipeline.exports.kml import icons, kml_text
from pipeline.exports.shapefile import legend_text, shapefile_tables
from pipeline.exports.styles.qml import qml_style
from pipeline.exports.styles.sld import sld_style
from pipeline.exports.tiles import tile_plan, tiles_of
from pipeline.files.exports.archives import write_kmz, write_shapefiles
from pipeline.files.exports.styled import write_styled
from pipeline.files.exports.tile_sets import write_mbtiles, write_pmtiles
from tests.exports.made_draft import CRS, EAST, HOLED, MARKS, NORTH, TABLE, TOLD, counts, made_layers

N_AREAS = sum(place.geom_type == "Polygon" for marks in MARKS.values() for _, _, place in marks)
N_RINGS = sum(1 + len(p.interiors) for marks in MARKS.values() for _, _, p in marks if p.geom_type == "Polygon")
N_LINES = sum(place.geom_type == "LineString" for marks in MARKS.values() for _, _, place in marks)
N_POINTS = sum(place.geom_type == "Point" for marks in MARKS.values() for _, _, place in marks)


def in_place(found: shapely.Geometry, wanted: shapely.Geometry) -> bool:
    """Whether a geometry in degrees lies where one in metres does, to a centimetre."""
    back = gpd.GeoSeries([found], crs=4326).to_crs(CRS).iloc[0]
    return shapely.hausdorff_distance(back, wanted) < 0.02


def test_geojson_by_gdal(tmp_path: Path) -> None:
    """GDAL's reader of GeoJSON finds every feature with its columns, where it lies."""
    path = tmp_path / "draft.geojson"
    path.write_text(geojson_text(made_layers(), told=TOLD), encoding="utf-8")
    found = pyogrio.read_dataframe(path)
    assert found.crs.to_epsg() == 4326
    assert Counter(found["layer"]) == {name: n for name, n in counts().items() if n}
    assert in_place(found[found["symbol"] == "408"].geometry.iloc[0], HOLED)
    assert set(found["status"]) == {"draft", "candidate", "rejected", "imported"}


def test_dxf_by_gdal(tmp_path: Path) -> None:
    """GDAL's reader of DXF finds points, lines, rings and areas with holes, each on the layer of its number."""
    path = tmp_path / "draft.dxf"
    path.write_text(dxf_text(made_layers(), symbols=TABLE, scale=10000, crs=CRS, told=TOLD), encoding="utf-8")
    found = pyogrio.read_dataframe(path, layer="entities")
    assert Counter(found.geom_type) == {"Point": N_POINTS, "LineString": N_LINES + N_RINGS, "Polygon": N_AREAS}
    on_layer = Counter(found["Layer"])
    assert on_layer["204"] == on_layer["204_candidate"] == on_layer["205_rejected"] == 1
    assert on_layer["408"] == 2  # an outer ring and a hole
    area = found[found["Layer"] == "408_fill"].geometry.iloc[0]
    assert shapely.symmetric_difference(area, HOLED).area < 1e-6
    contour = found[found["Layer"] == "102"].geometry.iloc[0]
    assert {z for _, _, z in contour.coords} == {440.0}


def test_gpx_by_gpxpy_and_gdal(tmp_path: Path) -> None:
    """A reader of GPX alone and GDAL's find the waypoints and tracks that a watch is to show."""
    text = gpx_text(made_layers(), symbols=TABLE, told=TOLD)
    shown = gpx_layers(made_layers())
    n_points = sum(len(table) for name, table in shown.items() if name.endswith("_point"))
    n_lines = sum(len(table) for name, table in shown.items() if name.endswith("_line"))
    parsed = gpxpy.parse(text)
    assert (len(parsed.waypoints), len(parsed.tracks), len(parsed.routes)) == (n_points, n_lines, 0)
    assert parsed.name == TOLD.title
    assert parsed.waypoints[0].description == shown["landform_point"]["evidence"].iloc[0]
    path = tmp_path / "draft.gpx"
    path.write_text(text, encoding="utf-8")
    points = pyogrio.read_dataframe(path, layer="waypoints")
    assert (len(points), len(pyogrio.read_dataframe(path, layer="tracks"))) == (n_points, n_lines)
    assert in_place(points.geometry.iloc[0], shown["landform_point"].geometry.iloc[0])


def test_shapefiles_by_pyshp_and_gdal(tmp_path: Path) -> None:
    """A reader of Shapefiles alone opens each of them in the archive, the empty one too."""
    layers, path = made_layers(), tmp_path / "draft.zip"
    write_shapefiles(path, shapefile_tables(layers), legend_text(layers, symbols=TABLE, told=TOLD))
    with zipfile.ZipFile(path) as archive:
        archive.extractall(tmp_path / "out")
    for name, n in counts().items():
        with pyshp.Reader(tmp_path / "out" / f"{name}.shp") as reader:
            assert len(reader) == n, name
            assert [field[0] for field in reader.fields[1:]][:3] == ["id", "symbol", "name"]
            if n:
                assert reader.record(0)["evidence"] == layers[name]["evidence"].iloc[0]
    assert pyogrio.read_info(f"/vsizip/{path}/rock_point.shp")["features"] == counts()["rock_point"]
    assert pyproj.CRS.from_wkt((tmp_path / "out" / "rock_point.prj").read_text()).to_epsg(min_confidence=70) == 25832
    with pyshp.Reader(tmp_path / "out" / "vegetation_area.shp") as reader:
        (area,) = [s.shape for s in reader.shapeRecords() if s.record["symbol"] == "408"]
        assert shapely.symmetric_difference(shapely.geometry.shape(area), HOLED).area < 1e-6


def test_kmz_by_gdal(tmp_path: Path) -> None:
    """GDAL's reader of KMZ finds a folder for each layer and its features; each icon is a picture of its own."""
    layers, path = made_layers(), tmp_path / "draft.kmz"
    write_kmz(path, kml_text(layers, symbols=TABLE, told=TOLD), icons(layers, symbols=TABLE))
    found = {
        name: pyogrio.read_dataframe(path, layer=name) for name in pyogrio.list_layers(path)[:, 0] if counts()[name]
    }
    assert {name: len(table) for name, table in found.items()} == {name: n for name, n in counts().items() if n}
    assert list(found["rock_point"]["status"]) == ["draft", "candidate", "rejected"]
    assert in_place(shapely.force_2d(found["vegetation_area"].geometry.iloc[0]), HOLED)
    with zipfile.ZipFile(path) as archive:
        assert archive.namelist()[0] == "doc.kml"
        icon = np.array(Image.open(io.BytesIO(archive.read("icons/205.png"))))
    assert icon[0, 0, 3] == 0
    assert icon[32, 32, 3] == 255


def test_styled_geopackage_by_gdal(tmp_path: Path) -> None:
    """Every layer is there with its features and one style that is used by itself; the words are its metadata."""
    path = tmp_path / "styled.gpkg"
    layers = made_layers()
    write_styled(
        path,
        layers,
        qml={name: qml_style(name, symbols=TABLE, north_deg=3.0) for name in layers},
        sld={name: sld_style(name, symbols=TABLE, north_deg=3.0) for name in layers},
        told=TOLD.entries,
        style_name="ISOM 2017-2",
        description="draft",
    )
    assert {name: pyogrio.read_info(path, layer=name)["features"] for name in layers} == counts()
    styles = pyogrio.read_dataframe(path, layer="layer_styles")
    assert sorted(styles["f_table_name"]) == sorted(layers)
    assert styles["useAsDefault"].astype(bool).all()
    assert set(styles["f_geometry_column"]) == {"geom"}
    assert pyogrio.read_info(path, layer="rock_point")["dataset_metadata"]["CREDIT"] == TOLD.credit


# ---------------------------------------------------------------- tiles

PICTURE_TURN_DEG, PIXEL_M = 4.0, 0.8
SIDE_M = 480.0
OUTLINE = box(EAST, NORTH, EAST + SIDE_M, NORTH + SIDE_M)
PATCH = box(EAST + 100, NORTH + 200, EAST + 180, NORTH + 280)
"""A red square of the map, whose place is sought in the tiles."""


def turned_map() -> tuple[np.ndarray, Affine]:
    """A white map with a red square, its rows turned against the grid, as the sheet's picture is."""
    middle = Affine.translation(EAST + SIDE_M / 2, NORTH + SIDE_M / 2)
    n = int(1.1 * SIDE_M / PIXEL_M)
    transform = (
        middle
        @ Affine.rotation(-PICTURE_TURN_DEG)
        @ Affine.scale(PIXEL_M, -PIXEL_M)
        @ Affine.translation(-n / 2, -n / 2)
    )
    picture = np.full((n, n, 3), 255, np.uint8)
    inside = rasterio.features.rasterize([(PATCH, 1)], (n, n), transform=transform)
    picture[inside == 1] = (255, 0, 0)
    return picture, transform


def tiled(tmp_path: Path) -> tuple[Path, Path]:
    """The map as MBTiles and as PMTiles."""
    picture, transform = turned_map()
    plan = tile_plan(OUTLINE, crs=CRS, pixel_m=PIXEL_M)
    paths = tmp_path / "map.mbtiles", tmp_path / "map.pmtiles"
    write_mbtiles(paths[0], tiles_of(picture, transform, OUTLINE, crs=CRS, plan=plan), plan, TOLD)
    write_pmtiles(paths[1], tiles_of(picture, transform, OUTLINE, crs=CRS, plan=plan), plan, TOLD)
    return paths


def test_mbtiles_by_gdal(tmp_path: Path) -> None:
    """GDAL's reader sees the red square where it lies on the earth, to a pixel, and nothing outside the map."""
    path, _ = tiled(tmp_path)
    with rasterio.open(path) as source:
        assert source.crs.to_epsg() == 3857
        bands, transform, step_m = source.read(), source.transform, source.transform.a
        assert source.tags()["description"] == TOLD.text
    red = (bands[0] > 200) & (bands[1] < 60) & (bands[3] == 255)
    row, col = (axis.mean() + 0.5 for axis in np.nonzero(red))
    seen = pyproj.Transformer.from_crs(3857, CRS, always_xy=True).transform(*(transform @ (col, row)))
    assert np.hypot(seen[0] - PATCH.centroid.x, seen[1] - PATCH.centroid.y) < 0.5 * step_m
    shown_m2 = (bands[3] > 0).sum() * step_m**2
    stretch = 1 / np.cos(np.radians(47.85)) ** 2
    assert shown_m2 == pytest.approx(OUTLINE.area * stretch, rel=0.03)


def test_tiles_are_as_fine_as_the_picture(tmp_path: Path) -> None:
    """The last zoom has pixels of about the picture's size on the ground, the first shows the map in a tile or four."""
    path, _ = tiled(tmp_path)
    with sqlite3.connect(path) as base:
        zooms = dict(base.execute("SELECT zoom_level, count(*) FROM tiles GROUP BY zoom_level").fetchall())
        said = dict(base.execute("SELECT name, value FROM metadata").fetchall())
    last = max(zooms)
    pixel_m = 156_543.034 * np.cos(np.radians(47.85)) / 2**last
    assert 0.5 * PIXEL_M < pixel_m <= 1.25 * PIXEL_M
    assert zooms[min(zooms)] <= 4
    assert (int(said["minzoom"]), int(said["maxzoom"])) == (min(zooms), last)


def test_pmtiles_by_its_reader_and_like_mbtiles(tmp_path: Path) -> None:
    """The format's own reader checks its directories; both files hold the same tiles, rows counted either way."""
    mbtiles, pmtiles = tiled(tmp_path)
    with sqlite3.connect(mbtiles) as base:
        rows = base.execute("SELECT zoom_level, tile_column, tile_row, tile_data FROM tiles").fetchall()
    ours = {(zoom, column, 2**zoom - 1 - row): png for zoom, column, row, png in rows}
    get = MemorySource(pmtiles.read_bytes())
    theirs = dict(all_tiles(get))
    assert theirs == ours
    reader = Reader(get)
    assert reader.metadata()["attribution"] == TOLD.credit
    header = reader.header()
    assert (header["min_zoom"], header["max_zoom"]) == (min(z for z, _, _ in ours), max(z for z, _, _ in ours))
    west, south, east, north = (header[f"{name}_e7"] / 1e7 for name in ("min_lon", "min_lat", "max_lon", "max_lat"))
    place = gpd.GeoSeries([OUTLINE], crs=CRS).to_crs(4326).total_bounds
    assert np.allclose((west, south, east, north), place, atol=1e-6)
