"""Mistakes of a user: each ends with status 2, one clear message and nothing lost."""

from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pyproj
import pytest
from shapely.geometry import box

from pipeline.cli import main
from tests.made_tiles import made_tile
from tests.runs import SAMPLE, write_area

MIDDLE_OF_SAMPLE = (565650.0, 5712150.0)


def small_tile(
    path: Path, *, crs: str | None, at: tuple[float, float] = MIDDLE_OF_SAMPLE, n: int = 2000, side_m: float = 20.0
) -> Path:
    """A tile of `n` points on a square of flat ground, with or without a CRS."""
    path.parent.mkdir(parents=True, exist_ok=True)
    header = laspy.LasHeader(point_format=6, version="1.4")
    if crs:
        header.add_crs(pyproj.CRS.from_user_input(crs))
    header.offsets, header.scales = [*at, 0], [1e-7 if crs == "EPSG:4326" else 0.01] * 3
    cloud = laspy.LasData(header)
    places = np.random.default_rng(1).uniform(0, 6e-4 if crs == "EPSG:4326" else side_m, (2, n))
    cloud.x, cloud.y, cloud.z = at[0] + places[0], at[1] + places[1], np.full(n, 100.0)
    cloud.return_number = cloud.number_of_returns = np.ones(n, np.uint8)
    cloud.write(path)
    return path


def refusal(area: Path, capsys: pytest.CaptureFixture[str], command: str = "draft") -> str:
    """The message a command ends with; asserts status 2 and a single message without a traceback."""
    status = main([command, str(area)])
    captured = capsys.readouterr()
    assert status == 2, captured
    assert captured.out == ""
    assert captured.err.startswith("tussock: ")
    assert "Traceback" not in captured.err
    return captured.err


def test_no_tiles(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A pattern that finds nothing is named."""
    assert "lidar/*.laz" in refusal(write_area(tmp_path, "lidar/*.laz"), capsys)


@pytest.mark.parametrize("ending", ["laz", "las"])
def test_a_tile_cut_in_half(tmp_path: Path, capsys: pytest.CaptureFixture[str], ending: str) -> None:
    """A download that broke off is named, with what to do."""
    tile = small_tile(tmp_path / f"half.{ending}", crs="EPSG:25832")
    tile.write_bytes(tile.read_bytes()[: tile.stat().st_size // 2])
    message = refusal(write_area(tmp_path, f"half.{ending}"), capsys)
    assert "half" in message
    assert "again" in message


def test_a_tile_without_crs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The way out, `crs:` in the area file, is in the message."""
    small_tile(tmp_path / "bare.laz", crs=None)
    message = refusal(write_area(tmp_path, "bare.laz"), capsys)
    assert "bare.laz" in message
    assert "crs:" in message


def test_tiles_in_two_crss(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both systems and a file of each are named."""
    small_tile(tmp_path / "a.laz", crs="EPSG:25832")
    small_tile(tmp_path / "b.laz", crs="EPSG:25833", at=(565700.0, 5712150.0))
    message = refusal(write_area(tmp_path, "*.laz"), capsys)
    assert all(part in message for part in ("a.laz", "b.laz", "zone 32N", "zone 33N"))


def test_a_geographic_crs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Degrees that no place has are refused with the way out."""
    small_tile(tmp_path / "swapped.laz", crs="EPSG:4326", at=(51.55, 99.94))
    message = refusal(write_area(tmp_path, "swapped.laz"), capsys)
    assert "swapped.laz" in message
    assert "latitude" in message or "degrees" in message


def test_degrees_are_reprojected_to_metres(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A geographic tile is worked on in the UTM zone of its place, and the survey says so."""
    small_tile(tmp_path / "degrees.laz", crs="EPSG:4326", at=(9.94, 51.55))
    assert main(["survey", str(write_area(tmp_path, "degrees.laz"))]) == 0
    assert "UTM zone 32N" in capsys.readouterr().out


def test_a_crs_in_the_area_file_that_the_tiles_contradict(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Refused with both named; `crs_overrides: true` lets the area file have the last word."""
    small_tile(tmp_path / "a.laz", crs="EPSG:25832")
    message = refusal(write_area(tmp_path, "a.laz", crs="EPSG:25833"), capsys)
    assert all(part in message for part in ("zone 32N", "zone 33N", "a.laz", "crs_overrides: true"))
    area = write_area(tmp_path, f"{SAMPLE}/*.laz", crs="EPSG:25833", crs_overrides="true")
    assert main(["survey", str(area)]) == 0
    assert "UTM zone 33N" in capsys.readouterr().out


def test_a_unit_of_heights_that_the_tiles_contradict(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Refused with both named; `height_unit_overrides: true` lets the area file have the last word."""
    made_tile(tmp_path / "a.laz", crs="EPSG:25832+7837")
    message = refusal(write_area(tmp_path, "a.laz", height_unit="foot"), capsys)
    assert all(part in message for part in ("international feet", "metres", "a.laz", "height_unit_overrides: true"))
    area = write_area(tmp_path, "a.laz", height_unit="foot", height_unit_overrides="true")
    assert main(["survey", str(area)]) == 0
    assert "Heights in international feet (DHHN2016 height), as the area file says" in capsys.readouterr().out


def test_an_empty_tile(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A tile without points is named."""
    small_tile(tmp_path / "empty.laz", crs="EPSG:25832", n=0)
    assert "no points" in refusal(write_area(tmp_path, "empty.laz"), capsys)


def test_a_boundary_outside_the_tiles(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The boundary file and both places are named."""
    outline = gpd.GeoDataFrame(geometry=[box(100000, 5000000, 100500, 5000500)], crs="EPSG:25832")
    outline.to_file(tmp_path / "boundary.gpkg")
    message = refusal(write_area(tmp_path, f"{SAMPLE}/*.laz", boundary="boundary.gpkg"), capsys)
    assert "boundary.gpkg" in message
    assert "outside" in message


@pytest.mark.parametrize("content", [None, b"no geopackage"])
def test_a_boundary_that_cannot_be_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: bytes | None
) -> None:
    """A missing or broken boundary file is named."""
    if content:
        (tmp_path / "boundary.gpkg").write_bytes(content)
    area = write_area(tmp_path, f"{SAMPLE}/*.laz", boundary="boundary.gpkg")
    assert "boundary.gpkg" in refusal(area, capsys)


def test_a_folder_that_cannot_be_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file where the folder should be; a read-only folder would not stop root."""
    (tmp_path / "out").write_text("a file, not a folder")
    assert "cannot be written to" in refusal(write_area(tmp_path, f"{SAMPLE}/*.laz"), capsys)


@pytest.mark.parametrize("command", ["draft", "survey"])
def test_a_typo_in_the_area_file(tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str) -> None:
    """The line, the nearest name and what is allowed."""
    area = write_area(tmp_path, f"{SAMPLE}/*.laz", contour_intervall_m="5")
    message = refusal(area, capsys, command)
    assert all(part in message for part in ("line 4", "did you mean 'contour_interval_m'", "Allowed here"))


def test_a_failed_run_keeps_what_an_earlier_run_made(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Bad input found before the work touches no file of the draft."""
    draft = tmp_path / "out" / "draft.gpkg"
    draft.parent.mkdir()
    draft.write_bytes(b"the mapper's last draft")
    small_tile(tmp_path / "bare.laz", crs=None)
    refusal(write_area(tmp_path, "bare.laz"), capsys)
    assert draft.read_bytes() == b"the mapper's last draft"
