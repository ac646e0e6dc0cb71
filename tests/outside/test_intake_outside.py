"""Intake held against others: published tiles, laspy's own reader, and a PDAL command line.

The tiles are the test data of the laspy source package on the Python package index (BSD licence); among them is
autzen_trim.laz, a crop of the Autzen Stadium survey of Oregon in international feet. Without a network the tests that
need them are skipped.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tarfile
from pathlib import Path

import laspy
import numpy as np
import pyproj
import pytest

from pipeline.files.intake import read_samples, take_in
from pipeline.files.las import tiles as las
from pipeline.files.las.geotiff_keys import short_keys, wkt_of_keys
from pipeline.files.las.guard import check_claims
from pipeline.intake.leaf_calendar import LeafDays
from pipeline.intake.placement import Placement, placement_of
from pipeline.intake.tile_crs import crs_from_geotiff_keys
from pipeline.intake.working_crs import choose_working_crs
from pipeline.survey.survey import survey_tiles
from pipeline.survey.word import describe_survey
from tests.made_tiles import UTM, made_tile

LEAF_DAYS = LeafDays(out_by_the_sea=110.0, out_inland=121.0, down=305.0)
LASPY = "laspy==2.7.0"
FOOT_M = 0.3048


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of tiles in the laspy source package."""
    folder = tmp_path_factory.mktemp("laspy")
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--no-binary", "laspy", LASPY]
    try:
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=90, check=False)
    except subprocess.TimeoutExpired:
        pytest.skip("the laspy source package could not be fetched in time")
    archives = list(folder.glob("laspy-*.tar.gz"))
    if not archives:
        pytest.skip(f"the laspy source package could not be fetched: {done.stderr.strip().splitlines()[-1:]}")
    with tarfile.open(archives[0]) as archive:
        archive.extractall(folder, filter="data")
    return next(folder.glob("laspy-*/tests/data"))


# ---------------------------------------------------------------- units


def test_autzen_is_read_in_its_feet(published: Path) -> None:
    """Plan and heights in international feet, out in metres of UTM zone 10 at Autzen Stadium, Eugene.

    The stadium stands at 44.0583 north, 123.0683 west (published coordinates); the crop is of its surroundings.
    """
    taken = take_in([published / "autzen_trim.laz"])
    tile = taken.table.tiles[0]
    assert taken.headers[0].crs.plan_unit_m == FOOT_M
    assert tile.placement.height_unit_m == FOOT_M
    assert taken.table.crs == "EPSG:3740"  # NAD83(HARN) / UTM zone 10N
    to_degrees = pyproj.Transformer.from_crs(taken.table.crs, "EPSG:4326", always_xy=True)
    west, south, east, north = tile.bounds
    lon_deg, lat_deg = to_degrees.transform((west + east) / 2, (south + north) / 2)
    _, _, away_m = pyproj.Geod(ellps="WGS84").inv(lon_deg, lat_deg, -123.0683, 44.0583)
    assert away_m < 1000


def test_autzen_keeps_its_distances_in_metres(published: Path) -> None:
    """Lengths in the working CRS are those of the published feet times 0.3048, heights exactly so."""
    path = published / "autzen_trim.laz"
    feet = laspy.read(path).xyz
    cloud = las.read_cloud(path, take_in([path]).table.tiles[0].placement)
    np.testing.assert_allclose(cloud.height, feet[:, 2] * FOOT_M, atol=1e-9)
    apart = np.random.default_rng(1).integers(0, len(feet), (2, 500))
    in_feet = np.hypot(*(feet[apart[0], :2] - feet[apart[1], :2]).T)
    in_metres = np.hypot(cloud.east[apart[0]] - cloud.east[apart[1]], cloud.north[apart[0]] - cloud.north[apart[1]])
    far = in_feet > 10
    # UTM shrinks distances by 0.9996 and the state's own grid stretches a little: a thousandth covers both.
    np.testing.assert_allclose(in_metres[far], in_feet[far] * FOOT_M, rtol=1e-3)


def test_autzen_is_surveyed_in_words(published: Path) -> None:
    """What a mapper reads: feet recognised, and a density in metres (in feet it would be a tenth)."""
    taken = take_in([published / "autzen_trim.laz"])
    samples = read_samples(taken.table)
    survey = survey_tiles(taken.table, taken.working, taken.headers, samples, leaf_days=LEAF_DAYS)
    text = describe_survey(survey)
    assert "international feet" in text
    # 110 000 points on 1177 ft by 563 ft, at least: the crop follows the flight lines and leaves corners empty.
    n_per_m2 = 110_000 / (1177.46 * 562.7 * FOOT_M**2)
    density = survey.density
    assert n_per_m2 < density.pulses_per_m2 * density.returns_per_pulse < 1.5 * n_per_m2


def test_keys_and_text_of_autzen_say_the_same(published: Path) -> None:
    """Its GeoTIFF keys spell the projection out; read through GDAL they give the CRS of its well-known text."""
    path = published / "autzen_trim.laz"
    with path.open("rb") as source:
        records = check_claims(source, path).records
    content = {record.record_id: record.record_data for record in records if record.user_id == "LASF_Projection"}
    wkt = wkt_of_keys(content[34735], content[34736], content[34737])
    by_keys = crs_from_geotiff_keys(short_keys(content[34735]), user_defined_wkt=wkt)
    assert by_keys.plan_unit_m == FOOT_M
    both = [pyproj.CRS.from_wkt(text) for text in (by_keys.plan_wkt, content[2112].decode().strip("\0"))]
    here = [pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform(636_600, 849_200) for crs in both]
    np.testing.assert_allclose(here[0], here[1], atol=1e-9)


def test_feet_of_height_over_metres_of_plan(published: Path) -> None:
    """simple.copc.laz: Oregon LCC in metres, NAVD88 heights in US survey feet (EPSG 2991 and 6360)."""
    said = las.read_header(published / "simple.copc.laz").crs
    assert said.plan_unit_m == 1.0
    assert said.height_unit_m == pytest.approx(1200 / 3937, rel=1e-9)
    assert said.height_name == "NAVD88 height (ftUS)"


# ---------------------------------------------------------------- points


def test_all_published_tiles_agree_with_laspy(published: Path) -> None:
    """Every tile laspy reads, LAS 1.1 to 1.4, LAZ and COPC: same points, and written back only the class changes."""
    tiles = sorted(published.glob("*.la[sz]"))
    assert len(tiles) >= 20
    for tile in tiles:
        theirs = laspy.read(tile)
        cloud = las.read_cloud(tile, Placement(UTM, UTM, 1.0))
        np.testing.assert_allclose(cloud.enh, theirs.xyz, rtol=1e-12, err_msg=tile.name)
        assert np.array_equal(cloud.return_number, np.asarray(theirs.return_number)), tile.name
        assert np.array_equal(cloud.producer_class, np.asarray(theirs.classification)), tile.name
        target = tile.with_name(f"{tile.stem}_again.laz.out.laz")
        las.write_classified(target, tile, np.full(len(cloud), 2, np.uint8))
        again = laspy.read(target)
        target.unlink()
        for name in theirs.point_format.dimension_names:
            if name != "classification":
                before, after = np.asarray(theirs[name]), np.asarray(again[name])
                assert before.tobytes() == after.tobytes(), (tile.name, name)
        assert (np.asarray(again.classification) == 2).all()


def test_a_copc_tile_is_the_tile_it_was_made_from(published: Path, tmp_path: Path) -> None:
    """simple.copc.laz holds the points of simple.las, in another order."""
    plain = las.read_cloud(published / "simple.las", Placement(UTM, UTM, 1.0))
    copc = las.read_cloud(published / "simple.copc.laz", Placement(UTM, UTM, 1.0))
    assert np.array_equal(np.sort(plain.gps_time), np.sort(copc.gps_time))
    sample = las.sample_points(published / "simple.copc.laz", Placement(UTM, UTM, 1.0), n_points=500)
    assert 300 < len(sample) < 700
    assert set(sample.gps_time) <= set(copc.gps_time)
    las.write_classified(tmp_path / "again.laz", published / "simple.copc.laz", copc.producer_class)
    assert not las.read_header(tmp_path / "again.laz").is_copc
    assert las.read_header(published / "simple.copc.laz").is_copc


def test_two_strays_do_not_move_a_tile_to_africa(published: Path) -> None:
    """append-bug-cpy.laz: 37 805 points in southern France, and two at the origin, which its header includes."""
    header = las.read_header(published / "append-bug-cpy.laz")
    bounds = las.points_bounds(header)
    assert header.bounds[:2] == (0.0, 0.0)
    assert bounds[0] > 690_000
    assert bounds[1] > 6_250_000
    working = choose_working_crs({"a.laz": (header.crs, bounds)})
    assert (working.crs, working.cautions) == ("EPSG:2154", ())  # RGF93 / Lambert-93


# ---------------------------------------------------------------- PDAL


@pytest.fixture(scope="module")
def pdal() -> str:
    """A PDAL command line: TUSSOCK_PDAL, or on PATH."""
    command = os.environ.get("TUSSOCK_PDAL") or shutil.which("pdal")
    if not command:
        pytest.skip("no PDAL: set TUSSOCK_PDAL to a PDAL command line, or put one on PATH")
    return command


@pytest.mark.pdal
@pytest.mark.parametrize("point_format", [1, 3, 6, 7, 8])
def test_pdal_reads_what_we_write(tmp_path: Path, pdal: str, point_format: int) -> None:
    """Count, extent, classes and CRS of a classified tile, as PDAL's own LAZ decoder sees them."""
    tile = made_tile(tmp_path / "a.laz", point_format=point_format, n=60_000)
    cloud = las.read_cloud(tile, Placement(UTM, UTM, 1.0))
    classes = np.resize(np.array([2, 5, 5, 18], np.uint8), len(cloud))
    las.write_classified(tmp_path / "b.laz", tile, classes)
    said = subprocess.run(
        [pdal, "info", "--stats", "--enumerate", "Classification", tmp_path / "b.laz"],
        capture_output=True,
        text=True,
        check=True,
    )
    seen = {entry["name"]: entry for entry in json.loads(said.stdout)["stats"]["statistic"]}
    assert seen["X"]["count"] == 60_000
    assert seen["X"]["minimum"] == pytest.approx(cloud.east.min(), abs=1e-6)
    assert seen["Y"]["maximum"] == pytest.approx(cloud.north.max(), abs=1e-6)
    assert seen["Classification"]["average"] == pytest.approx(classes.mean(), rel=1e-6)
    assert sorted(seen["Classification"]["values"]) == [2, 5, 18]


def test_the_two_feet_are_not_mixed_up() -> None:
    """The two feet over 1 640 000 ft, the false easting of New Mexico Central: a metre apart."""
    said = {unit: crs_from_geotiff_keys({3072: 2903, 4099: unit}) for unit in (9002, 9003)}
    bounds = (1_639_600.0, 1_454_500.0, 1_639_800.0, 1_454_700.0)
    units = []
    for one in said.values():
        working = choose_working_crs({"a.laz": (one, bounds)})
        units.append(placement_of(one, working).height_unit_m)
    assert (units[1] - units[0]) * 1_640_000 == pytest.approx(1.0, abs=0.01)
