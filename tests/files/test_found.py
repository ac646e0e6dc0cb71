"""Tables as spreadsheets save them, notes in them, and photos that say where they were taken."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from PIL import Image
from PIL.ExifTags import GPS, IFD, Base
from shapely.geometry import Point

from pipeline.errors import InputError
from pipeline.files.found.listed import read_listed
from pipeline.files.found.notes import read_notes
from pipeline.files.found.photos import read_photo
from pipeline.files.found.tables import read_table
from pipeline.files.found.walks import read_walk

CRS = "EPSG:25832"
BANDS = ("405", "406", "407", "408", "409", "410")
PLACE = Point(565600.5, 5712100.25)
DEG = gpd.GeoSeries([PLACE], crs=CRS).to_crs(4326).iloc[0]
LIST = "rank,name,id,symbol,kind,look_at,why,minutes,east_m,north_m,latitude_deg,longitude_deg"


@pytest.mark.parametrize(
    "text",
    [
        "x,y,symbol\n565600.5,5712100.25,406\n",
        "easting,northing,symbol\n565600.5,5712100.25,406\n",
        "easting;northing;symbol\n565600,5;5712100,25;406\n",
        "\ufeffEast ; North ; Found\n565 600,50;5 712 100,25;406 thin spruce\n",
        "east\tnorth\tsymbol\n565600.5\t5712100.25\t406.0\n",
        f"lat,lon,symbol\n{DEG.y:.9f},{DEG.x:.9f},406\n",
        f"latitude_deg,longitude_deg,symbol\n{DEG.y:.9f},{DEG.x:.9f},406\n",
        f"x;y;symbol\n{DEG.x:.9f};{DEG.y:.9f};406\n".replace(".", ","),
        "east_m,north_m,symbol\n565600.5,5712100.25,406\n,,408\n",
        f"{LIST},found\n1,017,p1,405,notes,how it runs here: 405 or 406?,0.11 m2/m3,3,565600.5,5712100.25,1,1,406\n",
    ],
)
def test_notes_come_in_the_columns_that_people_write(tmp_path: Path, text: str) -> None:
    """The same note from each, to a centimetre."""
    path = tmp_path / "notes.csv"
    path.write_text(text, encoding="utf-8")
    found = read_notes(path, CRS, BANDS)
    assert [one.partition(".")[0] for one in found["symbol"]] == ["406"]
    assert found.geometry[0].distance(PLACE) < 0.02


def test_a_table_in_the_encoding_of_an_old_office_is_read(tmp_path: Path) -> None:
    """Code page 1252 and UTF-16 beside UTF-8."""
    for encoding in ("cp1252", "utf-16", "utf-8-sig"):
        (tmp_path / "t.csv").write_bytes("x;y;found\n1;2;406 dichtes Gebüsch\n".encode(encoding))
        assert read_table(tmp_path / "t.csv")["found"][0] == "406 dichtes Gebüsch"


def test_a_list_without_an_answer_is_no_note(tmp_path: Path) -> None:
    """The question of Tussock's own list names two symbols, and its name is a number; neither is an answer."""
    (tmp_path / "list.csv").write_text(f"{LIST}\n1,406,p1,405,notes,405 or 406?,why,3,565600.5,5712100.25,1,1\n")
    with pytest.raises(InputError, match="into a column 'found'"):
        read_notes(tmp_path / "list.csv", CRS, BANDS)
    head = '<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
    points = [f'<wpt lat="{DEG.y}" lon="{DEG.x}"><name>{name}</name></wpt>' for name in ("017 405 or 406?", "018 408")]
    (tmp_path / "list.gpx").write_text(head + "".join(points) + "</gpx>")
    assert list(read_notes(tmp_path / "list.gpx", CRS, BANDS)["symbol"]) == ["408"]


def test_a_list_of_the_calibration_has_names_by_rank(tmp_path: Path) -> None:
    """Columns that it lacks are filled, so that marks find their places."""
    (tmp_path / "l.csv").write_text(
        "rank,look_at,why,east_m,north_m\n1,406?,x,565600.5,5712100\n2,408?,x,565700,5712100\n"
    )
    listed = read_listed(tmp_path / "l.csv")
    assert list(listed["name"]) == ["001", "002"]
    assert len(set(listed["id"])) == 2
    assert read_listed(tmp_path / "none.csv").empty


def test_the_list_with_a_column_added_is_read_as_a_walk(tmp_path: Path) -> None:
    """Rows with a word are spots; a list to which nothing was added says what to add."""
    rows = f"{LIST},ok?\n1,001,a,204,candidate,?,w,3,565600,5712100,1,1,ok\n"
    rows += "2,002,b,204,candidate,?,w,3,565700,5712100,1,1,\n"
    (tmp_path / "l.csv").write_text(rows)
    walk = read_walk(tmp_path / "l.csv", CRS)
    assert [(spot.id, spot.texts[0]) for spot in walk.spots] == [("a", "001 ok")]
    (tmp_path / "l.csv").write_text(f"{LIST}\n1,001,a,204,candidate,?,w,3,565600,5712100,1,1\n")
    with pytest.raises(InputError, match="add one called 'found'"):
        read_walk(tmp_path / "l.csv", CRS)


def photo(path: Path, place: tuple[float, float] | None, said: str = "") -> Path:
    """A small picture with the place in degrees, as a phone writes it."""
    exif = Image.Exif()
    exif[Base.ImageDescription] = said
    if place:
        lon, lat = (abs(value) for value in place)
        exif[IFD.GPSInfo] = {
            GPS.GPSLatitudeRef: "N" if place[1] >= 0 else "S",
            GPS.GPSLatitude: (int(lat), int(lat * 60 % 60), lat * 3600 % 60),
            GPS.GPSLongitudeRef: "E" if place[0] >= 0 else "W",
            GPS.GPSLongitude: (int(lon), int(lon * 60 % 60), lon * 3600 % 60),
        }
    Image.new("RGB", (4, 4)).save(path, exif=exif)
    return path


@pytest.mark.parametrize("place", [(9.94692, 51.55614), (-123.5, -41.25)])
def test_a_photo_says_where_it_was_taken(tmp_path: Path, place: tuple[float, float]) -> None:
    """East and west, north and south, to a centimetre or so."""
    found, _, texts = read_photo(photo(tmp_path / "017 no.jpg", place, "old log"))
    assert np.allclose(found, place, atol=1e-6)
    assert texts == ("017 no", "old log")


def test_a_photo_without_a_place_is_said_to_have_none(tmp_path: Path) -> None:
    """It makes no mark; a text that is called a photo is refused."""
    walk = read_walk(photo(tmp_path / "a.jpg", None), CRS)
    assert not walk.spots
    assert "does not say where" in walk.warnings[0]
    (tmp_path / "b.jpg").write_text("no picture")
    with pytest.raises(InputError, match="cannot be read as a photo"):
        read_walk(tmp_path / "b.jpg", CRS)


def test_what_the_list_came_with_is_no_walk(tmp_path: Path) -> None:
    """Planned ways without times, parking places and icons of the device say nothing; a way recorded later does."""
    points = "".join(f'<trkpt lat="{DEG.y + k / 1e4}" lon="{DEG.x}">%s</trkpt>' for k in range(3))
    planned = f"<trk><name>Way 1</name><trkseg>{points % ('', '', '')}</trkseg></trk>"
    timed = tuple(f"<time>2026-11-28T10:0{k}:00Z</time>" for k in range(3))
    walked = f"<trk><name>Way 2</name><trkseg>{points % timed}</trkseg></trk>"
    spots = "".join(
        f'<wpt lat="{DEG.y}" lon="{DEG.x}"><name>{n}</name><sym>Forest</sym></wpt>' for n in ("P2", "lunch")
    )
    head = '<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
    (tmp_path / "w.gpx").write_text(head + spots + planned + walked + "</gpx>")
    walk = read_walk(tmp_path / "w.gpx", CRS)
    assert [spot.texts for spot in walk.spots] == [("lunch",)]
    assert len(walk.tracks) == 1
    (tmp_path / "w.gpx").write_text(head + planned + "</gpx>")
    assert not read_walk(tmp_path / "w.gpx", CRS).tracks
