"""`tussock calibrate`: notes in, band limits out, used by later runs."""

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from scipy import ndimage
from shapely.geometry import Point

from pipeline.cli import main
from pipeline.errors import InputError
from pipeline.files.found.notes import read_notes
from pipeline.files.rasters import read_heights, write_heights
from pipeline.lattice.grid import Grid
from pipeline.plan.plan import calibration_path, make_plan
from tests.runs import SAMPLE, write_area

CRS = "EPSG:25832"
BOUNDS = (565500.0, 5712000.0, 565800.0, 5712300.0)
SHIFT = 1.6
"""The mapper of these tests calls forest thick only at densities this many times the usual limits."""


@pytest.fixture
def area(tmp_path: Path) -> Path:
    """An area with a density raster of smooth patches from 0.02 to 2 m2/m3, as a run would have left it."""
    path = write_area(tmp_path, f"{SAMPLE}/*.laz")
    grid = Grid.covering(BOUNDS, cell_m=1.0, crs=CRS)
    waves = ndimage.gaussian_filter(np.random.default_rng(5).normal(size=grid.shape), 12)
    rank = waves.ravel().argsort().argsort().reshape(grid.shape) / waves.size
    density = (0.02 * 100**rank).astype(np.float32)
    write_heights(tmp_path / "out" / "rasters" / "understorey.tif", density, grid, description="m2/m3")
    return path


def notes_of(area: Path, n: int) -> gpd.GeoDataFrame:
    """Notes of that mapper at random places."""
    density, grid = read_heights(area.parent / "out" / "rasters" / "understorey.tif")
    rng = np.random.default_rng(11)
    rows, cols = rng.integers(15, grid.rows - 15, n), rng.integers(15, grid.cols - 15, n)
    east, north = grid.centres()
    band = np.digitize(density[rows, cols], np.array([0.1, 0.4, 0.9]) * SHIFT)
    symbols = np.array(["405", "406", "408", "410"])[band]
    return gpd.GeoDataFrame({"symbol": symbols}, geometry=gpd.points_from_xy(east[cols], north[rows]), crs=CRS)


def test_notes_move_the_limits_and_later_runs_use_them(area: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Forty notes of a mapper whose limits are 1.6 times ours bring the plan's limits within a fifth of theirs."""
    notes_of(area, 40).to_file(area.parent / "notes.gpkg")
    assert main(["calibrate", str(area), str(area.parent / "notes.gpkg")]) == 0
    assert "406, 408 and 410 now begin at" in capsys.readouterr().out
    vegetation = make_plan(area).area.expert.vegetation
    limits = (vegetation.slow_from_m2_per_m3, vegetation.walk_from_m2_per_m3, vegetation.fight_from_m2_per_m3)
    assert np.allclose(limits, np.array([0.1, 0.4, 0.9]) * SHIFT, rtol=0.2), limits
    assert (area.parent / "out" / "report" / "calibration.png").stat().st_size > 2000


def limits_in(area: Path) -> tuple[float, float, float]:
    """The limits that a run of the area uses."""
    vegetation = make_plan(area).area.expert.vegetation
    return vegetation.slow_from_m2_per_m3, vegetation.walk_from_m2_per_m3, vegetation.fight_from_m2_per_m3


def test_calibrating_again_with_the_same_notes_changes_nothing(area: Path) -> None:
    """The prior is what the settings say, never an earlier calibration; else notes would count once more each time."""
    notes_of(area, 20).to_file(area.parent / "notes.gpkg")
    found = []
    for _ in range(3):
        assert main(["calibrate", str(area), str(area.parent / "notes.gpkg")]) == 0
        found.append(limits_in(area))
    assert found[0] != (0.1, 0.4, 0.9)
    assert found[1:] == found[:1] * 2


def written_limits(area: Path, slow: float) -> None:
    """Write a limit of one's own into the area file."""
    text = area.read_text().partition("expert:")[0]
    area.write_text(text + f"expert: {{vegetation: {{slow_from_m2_per_m3: {slow}}}}}\n")


def test_limits_written_after_a_calibration_win_and_it_is_said(area: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Whoever writes a limit by hand means it; the calibration that started from others is set aside, not silently."""
    notes_of(area, 40).to_file(area.parent / "notes.gpkg")
    assert main(["calibrate", str(area), str(area.parent / "notes.gpkg")]) == 0
    capsys.readouterr()
    assert main(["survey", str(area)]) == 0
    assert "area.calibration.json" in capsys.readouterr().out
    written_limits(area, 0.2)
    assert limits_in(area) == (0.2, 0.4, 0.9)
    assert main(["survey", str(area)]) == 0
    told = capsys.readouterr().out
    assert "area.calibration.json is not used" in told
    assert "0.2, 0.4 and 0.9" in told


def test_a_calibration_starts_from_the_limits_of_the_area_file(area: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Limits written before are what the notes are weighed against, and the calibration, being later, is used."""
    written_limits(area, 0.3)
    notes_of(area, 40).to_file(area.parent / "notes.gpkg")
    assert main(["calibrate", str(area), str(area.parent / "notes.gpkg")]) == 0
    assert "in place of 0.3, 0.4 and 0.9" in capsys.readouterr().out
    assert 0.1 * SHIFT < limits_in(area)[0] < 0.3
    assert json.loads(calibration_path(area).read_text())["started_from"] == [0.3, 0.4, 0.9]


def test_notes_too_few_leave_an_earlier_calibration_and_say_so(area: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What forty notes taught is not lost to four others."""
    notes_of(area, 40).to_file(area.parent / "notes.gpkg")
    assert main(["calibrate", str(area), str(area.parent / "notes.gpkg")]) == 0
    before = limits_in(area)
    capsys.readouterr()
    notes_of(area, 4).to_file(area.parent / "few.gpkg")
    assert main(["calibrate", str(area), str(area.parent / "few.gpkg")]) == 0
    assert "area.calibration.json of an earlier call stays" in capsys.readouterr().out
    assert limits_in(area) == before


def test_without_a_calibration_nothing_is_said_of_one(area: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The survey speaks of limits only where two sources of them meet."""
    assert main(["survey", str(area)]) == 0
    assert "limits" not in capsys.readouterr().out


def test_too_few_notes_change_nothing(area: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It says so, by how many more would help, and writes no calibration."""
    notes_of(area, 4).to_file(area.parent / "notes.gpkg")
    before = make_plan(area).section("vegetation")
    assert main(["calibrate", str(area), str(area.parent / "notes.gpkg")]) == 0
    told = capsys.readouterr().out
    assert "At least 8 more would help" in told
    assert "Where the next notes would teach most" in told
    assert len(pd.read_csv(area.parent / "out" / "fieldwork" / "note_places.csv")) > 0
    assert not calibration_path(area).exists()
    assert make_plan(area).section("vegetation") == before


def test_the_list_of_note_places_says_where_the_next_notes_teach_most(area: Path) -> None:
    """Table and waypoints name the same places in the same order, in metres and in degrees."""
    notes_of(area, 3).to_file(area.parent / "notes.gpkg")
    assert main(["calibrate", str(area), str(area.parent / "notes.gpkg")]) == 0
    folder = area.parent / "out" / "fieldwork"
    rows = pd.read_csv(folder / "note_places.csv")
    points = gpd.read_file(folder / "note_places.gpx", layer="waypoints")
    assert list(rows["rank"]) == list(range(1, len(rows) + 1)) != []
    assert list(points["name"]) == [f"{r} {what}" for r, what in zip(rows["rank"], rows["look_at"], strict=True)]
    there = points.geometry.to_crs(CRS)
    assert np.allclose(there.x, rows["east_m"], atol=0.2)
    assert np.allclose(there.y, rows["north_m"], atol=0.2)
    assert rows["look_at"].str.contains(r"40\d or 4\d\d\?").all()


def test_notes_outside_the_area_change_nothing(area: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Swapped axes: exit status 2, said in words, and the list and the plot of the good notes stay as they were."""
    notes_of(area, 4).to_file(area.parent / "notes.gpkg")
    assert main(["calibrate", str(area), str(area.parent / "notes.gpkg")]) == 0
    out = area.parent / "out"
    before = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}
    (area.parent / "swapped.csv").write_text("x,y,symbol\n5712240,565560,405\n5712090,565655,408\n")
    capsys.readouterr()
    assert main(["calibrate", str(area), str(area.parent / "swapped.csv")]) == 2
    told = capsys.readouterr().err
    assert "none of its 2 notes lies in the area: east and north are swapped" in told
    assert "Nothing was changed" in told
    assert {path: path.read_bytes() for path in before} == before


def test_single_notes_outside_are_left_out_and_said(area: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One of five lies in the next valley."""
    notes = notes_of(area, 5)
    notes.loc[0, "geometry"] = Point(567500, 5712000)
    notes.to_file(area.parent / "notes.gpkg")
    assert main(["calibrate", str(area), str(area.parent / "notes.gpkg")]) == 0
    told = capsys.readouterr().out
    assert "Left out: 1 note outside the area." in told
    assert "4 notes at" in told


def test_without_a_draft_it_says_what_to_do(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Notes are compared with the draft's density; without one there is nothing to compare."""
    path = write_area(tmp_path, f"{SAMPLE}/*.laz")
    assert main(["calibrate", str(path), str(tmp_path / "notes.gpkg")]) == 2
    assert "run 'tussock draft area.yaml' first" in capsys.readouterr().err


def test_a_broken_calibration_is_named(area: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Whatever happened to the file, the message says which and what to do."""
    calibration_path(area).write_text(json.dumps({"slow_from_m2_per_m3": "thick"}))
    assert main(["survey", str(area)]) == 2
    assert "area.calibration.json" in capsys.readouterr().err


@pytest.mark.parametrize("ending", ["gpkg", "geojson", "csv", "gpx"])
def test_notes_come_in_four_formats(tmp_path: Path, ending: str) -> None:
    """The same two notes from each, in the working CRS to a centimetre, the number found in the words."""
    notes = gpd.GeoDataFrame(
        {"symbol": ["408", "410"]}, geometry=[Point(565600, 5712100), Point(565650, 5712150)], crs=CRS
    )
    path = tmp_path / f"notes.{ending}"
    degrees = notes.to_crs("EPSG:4326")
    if ending == "csv":
        rows = [f"{p.x:.9f};{p.y:.9f};{s} beech" for p, s in zip(degrees.geometry, notes["symbol"], strict=True)]
        path.write_text("lon;lat;symbol\n" + "\n".join(rows) + "\n")
    elif ending == "gpx":
        marks = [
            f'<wpt lat="{p.y:.9f}" lon="{p.x:.9f}"><name>{s} thick</name></wpt>'
            for p, s in zip(degrees.geometry, notes["symbol"], strict=True)
        ]
        head = '<?xml version="1.0"?><gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
        path.write_text(head + "".join(marks) + "</gpx>")
    else:
        notes.to_file(path)
    read = read_notes(path, CRS)
    assert list(read["symbol"]) == ["408", "410"]
    assert read.geometry.distance(notes.geometry).max() < 0.02


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("gone.gpkg", None, "no such file"),
        ("notes.gpkg", "no geopackage", "cannot be read"),
        ("notes.csv", "a;b\n1;2\n", "east and north"),
        ("notes.csv", "east;north\n1;2\n", "says nowhere what was found"),
        ("notes.csv", "east;north;symbol\n1;2;thick\n", "no note"),
    ],
)
def test_notes_that_cannot_be_used_are_explained(tmp_path: Path, name: str, text: str | None, said: str) -> None:
    """The file and the remedy are named."""
    if text is not None:
        (tmp_path / name).write_text(text)
    with pytest.raises(InputError, match=said) as caught:
        read_notes(tmp_path / name, CRS)
    assert name in str(caught.value)
