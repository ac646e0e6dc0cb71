"""Where the car stands: what the area file may say, and what is guessed without it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from pyproj import Transformer
from shapely.geometry import LineString, box

from pipeline.errors import InputError
from pipeline.fieldwork.walking.parking import best_of, guess_parking
from pipeline.files.fieldwork.places import read_places
from pipeline.plan.parking import find_parking
from pipeline.plan.plan import make_plan
from pipeline.settings.written import as_parking
from tests.faults.test_command import small_tile
from tests.runs import write_area


@pytest.mark.parametrize(
    ("written", "read"),
    [
        (None, ()),
        ("48.2093, 13.4762", ((48.2093, 13.4762),)),
        ("48,2093; 13,4762", ((48.2093, 13.4762),)),
        ([48.2, 13], ((48.2, 13.0),)),
        ([[48.2, 13.4], [48.3, 13.5]], ((48.2, 13.4), (48.3, 13.5))),
        (["48.2, 13.4", "48.3, 13.5"], ((48.2, 13.4), (48.3, 13.5))),
        ("cars.gpx", "cars.gpx"),
    ],
)
def test_places_may_be_written_in_several_ways(written: object, read: object) -> None:
    """As text, as one pair, as pairs; a text that is no pair is a file."""
    assert as_parking(written) == read


@pytest.mark.parametrize("written", ["565514, 5712298", [[91, 0]], [[1, 2, 3]], ["here"], [[True, 2]], 7, [[1, "x"]]])
def test_what_is_no_place_is_refused_with_an_example(written: object) -> None:
    """Metres, too many numbers, words."""
    with pytest.raises(ValueError, match=r"for example parking: 48\.2093, 13\.4762"):
        as_parking(written)


@pytest.fixture
def area(tmp_path: Path) -> Path:
    """An area file of a tile of 30 m."""
    small_tile(tmp_path / "a.laz", crs="EPSG:25832", side_m=30.0)
    return write_area(tmp_path, "a.laz")


def test_a_place_far_from_the_tiles_is_refused_before_the_run(area: Path) -> None:
    """In words, with the hint that the two may be swapped where they are."""
    table = make_plan(area).intake.table
    east, north = np.mean([tile.bounds[:2] for tile in table.tiles], axis=0)
    longitude, latitude = Transformer.from_crs(table.crs, "EPSG:4326", always_xy=True).transform(east, north)
    assert find_parking([(latitude, longitude)], area.parent, table) == [(latitude, longitude)]
    with pytest.raises(InputError, match="swapped"):
        find_parking([(longitude, latitude)], area.parent, table)
    write_area(area.parent, "a.laz", parking=f"{latitude + 1}, {longitude}")
    with pytest.raises(InputError, match="km from the tiles"):
        make_plan(area)


def test_places_of_a_file_are_read_and_others_refused(tmp_path: Path) -> None:
    """Waypoints of a GPX; a missing file, a text and a file without a point are told apart."""
    gpx = tmp_path / "cars.gpx"
    head = '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
    gpx.write_text(f'{head}<wpt lat="48.5" lon="13.25"><name>P</name></wpt></gpx>', encoding="utf-8")
    assert read_places(gpx) == [(48.5, 13.25)]
    gpx.write_text(f"{head}</gpx>", encoding="utf-8")
    with pytest.raises(InputError, match="holds no point"):
        read_places(gpx)
    with pytest.raises(InputError, match="no such file"):
        read_places(tmp_path / "none.gpx")
    (tmp_path / "words.gpx").write_text("hello", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be read"):
        read_places(tmp_path / "words.gpx")


def test_a_road_that_leaves_the_area_is_where_a_car_comes() -> None:
    """Not one that ends inside; without any, the corners, and both times it is said."""
    area = box(0, 0, 1000, 1000)
    leaving, inside = LineString([(-5, 400), (500, 400)]), LineString([(300, 300), (600, 600)])
    places, words = guess_parking(area, [inside, leaving])
    assert np.abs(places[:, 0]).max() <= 16
    assert np.allclose(places[:, 1], 400, atol=1)
    assert "road or track reaches the edge" in words
    corners, words = guess_parking(area, [inside])
    assert {tuple(place) for place in corners.tolist()} == {(0, 0), (0, 1000), (1000, 0), (1000, 1000)}
    assert "nearest corner" in words


def test_of_guessed_places_the_nearest_to_all_stops_is_taken() -> None:
    """One that cannot reach a stop is not."""
    assert best_of(np.array([[5.0, 9.0], [4.0, 3.0], [1.0, np.inf]])) == 1
