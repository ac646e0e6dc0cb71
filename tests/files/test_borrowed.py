"""Other people's data read from disk."""

from __future__ import annotations

import gzip
import xml.etree.ElementTree as ET
from pathlib import Path

import geopandas as gpd
import pytest
from shapely.geometry import LineString, Polygon

from pipeline.errors import InputError
from pipeline.files.borrowed import read_borrowed
from tests.paths import measuring_data

CRS = "EPSG:25832"
WITHIN = (400_000.0, 5_700_000.0, 401_000.0, 5_701_000.0)
PATH = LineString([(400_100, 5_700_100), (400_300, 5_700_200)])


def written(folder: Path, name: str, crs: str | None = CRS, **columns: str) -> Path:
    """A file with one path in the area."""
    table = gpd.GeoDataFrame({key: [value] for key, value in columns.items()}, geometry=[PATH], crs=CRS)
    table = table.to_crs(crs) if crs else table.set_crs(None, allow_override=True)
    table.to_file(folder / name)
    return folder / name


def read(path: Path, *keys: str, own_crs: str | None = None) -> list[gpd.GeoDataFrame]:
    """Its layers."""
    return read_borrowed(path, keys=keys, crs=CRS, within=WITHIN, own_crs=own_crs)


@pytest.mark.parametrize("name", ["ways.gpkg", "ways.geojson", "ways.shp"])
@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:3857"])
def test_formats_and_systems_come_to_the_same_place(tmp_path: Path, name: str, crs: str) -> None:
    """A GeoPackage, GeoJSON or Shapefile in any system lies where it belongs, with the columns that were asked for."""
    if name.endswith("json") and crs != "EPSG:4326":
        crs = "EPSG:4326"
    (layer,) = read(written(tmp_path, name, crs, highway="path", owner="nobody"), "highway", "width")
    assert layer["highway"].tolist() == ["path"]
    assert set(layer.columns) == {"highway", "layer", "geometry"}
    assert layer.geometry.iloc[0].hausdorff_distance(PATH) < 0.01


def test_file_without_a_system_is_asked_for_one(tmp_path: Path) -> None:
    """And read once the area file says it."""
    path = written(tmp_path, "ways.shp", None, highway="path")
    with pytest.raises(InputError, match="does not say its coordinate system"):
        read(path, "highway")
    assert len(read(path, "highway", own_crs=CRS)[0]) == 1


def test_two_systems_for_one_file_are_refused(tmp_path: Path) -> None:
    """The file says one, the area file another."""
    with pytest.raises(InputError, match="take out one of the two"):
        read(written(tmp_path, "ways.gpkg", highway="path"), own_crs="EPSG:25833")


def test_file_of_elsewhere_says_how_far(tmp_path: Path) -> None:
    """A wrong system puts the path hundreds of kilometres away."""
    table = gpd.GeoDataFrame({"highway": ["path"]}, geometry=[PATH], crs="EPSG:25833")
    table.to_file(tmp_path / "ways.gpkg")
    with pytest.raises(InputError, match=r"nothing of it lies in the area; .*4\d\d\.\d km away"):
        read(tmp_path / "ways.gpkg", "highway")


def test_invalid_area_is_mended(tmp_path: Path) -> None:
    """An outline that crosses itself becomes its two halves."""
    bow = Polygon([(400_100, 5_700_100), (400_200, 5_700_200), (400_200, 5_700_100), (400_100, 5_700_200)])
    gpd.GeoDataFrame({"building": ["yes"]}, geometry=[bow], crs=CRS).to_file(tmp_path / "houses.gpkg")
    (layer,) = read(tmp_path / "houses.gpkg", "building")
    assert layer.geometry.is_valid.all()
    assert layer.area.sum() == pytest.approx(5000)


@pytest.mark.parametrize("name", ["bomb.osm", "bomb.osm.gz", "bomb.gpx"])
def test_entities_are_refused(tmp_path: Path, name: str) -> None:
    """Entities that name each other would fill the memory."""
    bomb = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;">]><osm version="0.6">&b;</osm>'
    (tmp_path / name).write_bytes(gzip.compress(bomb) if name.endswith("gz") else bomb)
    with pytest.raises(InputError, match="declares entities"):
        read(tmp_path / name, "highway")


@pytest.mark.parametrize("name", ["broken.gpkg", "broken.osm.pbf", "broken.osm.gz", "broken.geojson"])
def test_broken_file_is_named(tmp_path: Path, name: str) -> None:
    """No traceback: the file, and that it cannot be read."""
    (tmp_path / name).write_bytes(b"nothing of the kind")
    with pytest.raises(InputError, match=r"broken.*cannot be read"):
        read(tmp_path / name, "highway")


def test_missing_file_is_named(tmp_path: Path) -> None:
    """It says which line of the area file to correct."""
    with pytest.raises(InputError, match="correct 'borrow:'"):
        read(tmp_path / "none.gpkg")


def test_recorded_walk_is_a_line(tmp_path: Path) -> None:
    """A GPX track comes as the layer `tracks`."""
    degrees = gpd.GeoSeries([PATH], crs=CRS).to_crs("EPSG:4326").iloc[0]
    points = "".join(f'<trkpt lat="{y:.7f}" lon="{x:.7f}"/>' for x, y in degrees.coords)
    (tmp_path / "walk.gpx").write_text(
        f'<gpx version="1.1" creator="us" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>'
    )
    layers = {layer["layer"].iloc[0]: layer for layer in read(tmp_path / "walk.gpx", "layer")}
    assert layers["tracks"].geometry.iloc[0].length == pytest.approx(PATH.length, abs=0.05)


def test_openstreetmap_as_its_own_xml_counts() -> None:
    """Every way with a highway tag that Python's own XML reader finds comes through, with its tag."""
    extract = measuring_data("osm") / "upland_2014.osm.gz"
    with gzip.open(extract) as file:
        ways = [{tag.get("k"): tag.get("v") for tag in way.iter("tag")} for way in ET.parse(file).iter("way")]
    wanted = [tags["highway"] for tags in ways if "highway" in tags and tags.get("area") != "yes"]
    everywhere = (-1e7, -1e7, 1e7, 1e7)
    layers = read_borrowed(extract, keys=("highway", "tracktype"), crs="EPSG:3857", within=everywhere, own_crs=None)
    lines = next(layer for layer in layers if layer["layer"].iloc[0] == "lines")
    found = lines[lines["highway"] != ""]["highway"]
    assert len(wanted) > 100
    assert abs(len(found) - len(wanted)) <= 0.01 * len(wanted)
    assert (found == "track").sum() == pytest.approx(wanted.count("track"), abs=3)
