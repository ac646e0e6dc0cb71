"""`tussock notes`: what was carried home comes off the list, stays in the draft, and nothing is lost on the way."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import Point

from pipeline.cli import main
from pipeline.files import layers
from pipeline.files.found.marks import read_marks, write_marks
from pipeline.files.known_drafts import note_as_known
from pipeline.files.rasters import write_heights
from pipeline.lattice.grid import Grid
from pipeline.marks.apply import apply_marks
from pipeline.marks.edits import as_written
from pipeline.plan.marked import EDITED, WRITTEN, marks_content, marks_path, take_in_edits
from tests.marks.drafts import CRS, EAST, NORTH, made_draft
from tests.runs import SAMPLE, write_area

TOP = '<?xml version="1.0"?><gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'


@pytest.fixture
def area(tmp_path: Path) -> Path:
    """An area with a draft, its check list of six boulders, and flat bare ground, as a run would have left them."""
    path = write_area(tmp_path, f"{SAMPLE}/*.laz", crs=CRS)
    out = tmp_path / "out"
    _write_draft(out, made_draft())
    grid = Grid.covering((EAST - 100, NORTH - 200, EAST + 300, NORTH + 300), cell_m=1.0, crs=CRS)
    for name in ("bare_earth", "understorey"):
        write_heights(out / "rasters" / f"{name}.tif", np.zeros(grid.shape, np.float32), grid, description=name)
    rock = made_draft()["rock_point"].iloc[:6]
    degrees = rock.geometry.to_crs(4326)
    rows = pd.DataFrame(
        {"rank": range(1, 7), "name": [f"{n:03d}" for n in range(1, 7)], "outing": 1, "stop": range(1, 7),
         "id": rock["id"], "symbol": "204", "kind": ["doubtful", "candidate"] * 3, "look_at": "a boulder?",
         "why": "1.6 m high", "confidence": rock["confidence"], "minutes": 3.0, "worth": 1.0,
         "east_m": rock.geometry.x, "north_m": rock.geometry.y, "latitude_deg": degrees.y, "longitude_deg": degrees.x}
    )  # fmt: skip
    (out / "fieldwork" / "check_list.csv").write_text(rows.to_csv(index=False), encoding="utf-8")
    listed = zip(rows["east_m"] - EAST, rows["north_m"] - NORTH, rows["name"], strict=True)
    walk(out / "fieldwork" / "check_points.gpx", waypoint(5, 5, "P"), *(waypoint(*one) for one in listed))
    return path


def _write_draft(out: Path, draft: dict[str, gpd.GeoDataFrame]) -> None:
    """What the step that composes a draft writes."""
    (out / "fieldwork").mkdir(parents=True, exist_ok=True)
    layers.write_layers(out / WRITTEN, as_written(draft, {}))
    layers.write_layers(out / "draft.gpkg", draft)
    note_as_known(out / "draft.gpkg")


def waypoint(east: float, north: float, name: str, hour: int = 9) -> str:
    """A waypoint at a place in metres."""
    at = gpd.GeoSeries([Point(EAST + east, NORTH + north)], crs=CRS).to_crs(4326).iloc[0]
    return f'<wpt lat="{at.y:.9f}" lon="{at.x:.9f}"><time>2026-11-28T{hour:02d}:00:00Z</time><name>{name}</name></wpt>'


def walk(path: Path, *parts: str) -> Path:
    """A GPX file."""
    path.write_text(TOP + "".join(parts) + "</gpx>", encoding="utf-8")
    return path


def track(*places: tuple[float, float]) -> str:
    """A track through places in metres."""
    at = gpd.GeoSeries([Point(EAST + e, NORTH + n) for e, n in places], crs=CRS).to_crs(4326)
    points = "".join(f'<trkpt lat="{p.y:.9f}" lon="{p.x:.9f}"/>' for p in at)
    return f"<trk><trkseg>{points}</trkseg></trk>"


def test_a_walk_shortens_the_list_and_says_what_it_taught(area: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two words, one new thing, one walk past at 5 m, its neighbours being 20.6 m off; names and the whole stay."""
    file = walk(
        area.parent / "walk.gpx", waypoint(0, 0, "001 ok"), waypoint(20, 0, "2 no"), waypoint(300, 20, "new cairn"),
        waypoint(0, 0, "hut"), track((80.3, 5), (80.3, 25)),
    )  # fmt: skip
    assert main(["notes", str(area), str(file)]) == 0
    told = capsys.readouterr().out
    assert "4 marks: 1 confirmed, 1 new, 1 rejected, 1 walked past in sight." in told
    assert "Not understood: 'hut'" in told
    out = area.parent / "out" / "fieldwork"
    assert list(pd.read_csv(out / "check_list.csv", dtype={"name": str})["name"]) == ["003", "004", "006"]
    assert list(gpd.read_file(out / "check_points.gpx", layer="waypoints")["name"]) == ["P", "003", "004", "006"]
    progress = json.loads((out / "progress.json").read_text())
    assert (progress["done"], progress["listed"], progress["hours_percent"], progress["new"]) == (3, 6, 50.0, 1)
    assert main(["notes", str(area), str(file)]) == 0
    assert "was read before" in capsys.readouterr().out
    assert json.loads((out / "progress.json").read_text()) == progress


def test_a_file_that_cannot_be_read_changes_nothing(area: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of two files the second is broken: exit status 2, and the marks of the first are not half taken in."""
    good, bad = walk(area.parent / "a.gpx", waypoint(0, 0, "001 ok")), area.parent / "b.gpx"
    bad.write_text("no gpx")
    before = (area.parent / "out" / "fieldwork" / "check_list.csv").read_bytes()
    assert main(["notes", str(area), str(good), str(bad)]) == 2
    assert "b.gpx" in capsys.readouterr().err
    assert not marks_path(area).exists()
    assert (area.parent / "out" / "fieldwork" / "check_list.csv").read_bytes() == before


def test_the_marks_of_the_page_are_read(area: Path) -> None:
    """GeoJSON with id and status, and without an id by the name of the place."""
    at = gpd.GeoSeries([Point(EAST + 26, NORTH)], crs=CRS).to_crs(4326).iloc[0]
    told = [
        {
            "id": "boulder1",
            "status": "moved",
            "symbol": "",
            "note": "",
            "at": "2026-11-28T10:00:00.000Z",
            "name": "002",
        },
        {"id": "", "status": "rejected", "symbol": "", "note": "stump", "at": "2026-11-28T10:01:00Z", "name": "003"},
    ]
    places = {"type": "Point", "coordinates": [at.x, at.y]}
    features = [{"type": "Feature", "geometry": places, "properties": one} for one in told]
    file = area.parent / "marks.geojson"
    file.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    assert main(["notes", str(area), str(file)]) == 0
    marks = read_marks(marks_path(area), CRS).by_id
    assert {name: (mark.status, mark.note) for name, mark in marks.items()} == {
        "boulder1": ("moved", ""),
        "boulder2": ("rejected", "stump"),
    }
    assert marks["boulder1"].geometry is not None
    assert marks["boulder1"].geometry.distance(Point(EAST + 26, NORTH)) < 0.05


def test_changes_in_the_draft_itself_are_taken_in_before_it_is_written_anew(area: Path) -> None:
    """A copy is kept, the marks are the changes, and asked once more there is nothing to say."""
    out = area.parent / "out"
    edited = made_draft()
    edited["rock_point"].loc[2, "status"] = "rejected"
    layers.write_layers(out / "draft.gpkg", edited)
    said = take_in_edits(out, marks_path(area), CRS)
    assert "Found 1 change of yours in draft.gpkg; it is kept in area.marks.json" in said
    assert len(list((out / EDITED).glob("*.gpkg"))) == 1
    kept = read_marks(marks_path(area), CRS)
    assert [(mark.id, mark.status) for mark in kept.marks] == [("boulder2", "rejected")]
    assert take_in_edits(out, marks_path(area), CRS) == ""
    (out / "work" / "draft.gpkg.sha256").unlink()
    assert take_in_edits(out, marks_path(area), CRS) == "", "the work files may be deleted"
    again = apply_marks(made_draft(), kept.marks).layers
    _write_draft(out, again)
    assert take_in_edits(out, marks_path(area), CRS) == ""
    assert list(layers.read_layer(out / "draft.gpkg", "rock_point").set_index("id")["status"][["boulder2"]]) == [
        "rejected"
    ]


def test_a_draft_that_cannot_be_read_is_kept_and_said(area: Path) -> None:
    """A broken file stops no run: it is copied before a new draft takes its place."""
    out = area.parent / "out"
    (out / "draft.gpkg").write_text("broken")
    said = take_in_edits(out, marks_path(area), CRS)
    assert "no change of yours could be taken in" in said
    assert [path.read_text() for path in (out / EDITED).iterdir()] == ["broken"]
    assert not marks_path(area).exists()
    assert take_in_edits(out, marks_path(area), CRS) == ""


def test_only_marks_on_features_make_the_draft_again(area: Path) -> None:
    """A note on a place changes nothing that is composed; a mark on a feature does."""
    empty = marks_content(marks_path(area), CRS)
    kept = read_marks(marks_path(area), CRS)
    write_marks(marks_path(area), kept)
    assert marks_content(marks_path(area), CRS) == empty == ""
    assert main(["notes", str(area), str(walk(area.parent / "w.gpx", waypoint(0, 0, "001 ok")))]) == 0
    assert marks_content(marks_path(area), CRS) != ""


def test_marks_of_another_coordinate_system_are_refused(area: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """They would lie a thousand kilometres off."""
    marks_path(area).write_text('{"crs": "EPSG:3006", "marks": [], "log": []}')
    assert main(["notes", str(area)]) == 2
    assert "its marks are in EPSG:3006" in capsys.readouterr().err
    marks_path(area).write_text('{"marks": 3}')
    assert main(["notes", str(area)]) == 2
    assert "cannot be read as the marks of an area" in capsys.readouterr().err


def test_without_a_draft_it_says_what_to_do(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Marks are about a draft."""
    path = write_area(tmp_path, f"{SAMPLE}/*.laz")
    assert main(["notes", str(path), str(tmp_path / "none.gpx")]) == 2
    assert "run 'tussock draft area.yaml' first" in capsys.readouterr().err
