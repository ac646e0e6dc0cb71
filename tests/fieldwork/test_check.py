"""The check list: ranks, names, outings, columns; its GPX; its words."""

from __future__ import annotations

import functools
import io
import os
from pathlib import Path

import geopandas as gpd
import gpxpy
import numpy as np
import pytest
from shapely.geometry import LineString

from pipeline.fieldwork.outings import check
from pipeline.fieldwork.outings.check import CheckList, Parking, make_check_list
from pipeline.fieldwork.outings.gpx import check_points_gpx
from pipeline.fieldwork.outings.words import outings_in_words
from pipeline.fieldwork.questions.columns import COLUMNS
from tests.fieldwork.places import CRS, EAST, NORTH, flat_net, questions

CAR = Parking(np.array([[EAST + 2.5, NORTH + 2.5]]), True, "Walks start at the parking place that you named.")
SCHEMA = Path(os.environ.get("TUSSOCK_DATA", "/nowhere")).parent / "facts" / "gpx-1.1.xsd"
STREWN = tuple(map(tuple, np.random.default_rng(7).uniform(5, 195, (45, 2)).round(1).tolist()))


@functools.cache
def listed() -> CheckList:
    """45 boulders strewn over four hectares, on outings of an hour."""
    chance = np.random.default_rng(8).uniform(0.1, 0.5, len(STREWN))
    return make_check_list(questions(STREWN, chance=chance), flat_net(), CAR, outing_h=1)


def test_all_rows_stand_on_one_outing_and_stop() -> None:
    """Ranks run from 1, each question is there once, and all rows of a name's number share outing and stop."""
    rows = listed().rows
    assert list(rows.columns.drop("geometry")) == list(COLUMNS)
    assert list(rows["rank"]) == list(range(1, 46))
    assert rows["id"].is_unique
    assert rows["name"].is_unique
    assert rows["name"].iloc[0] == "001"
    by_number = rows.groupby(rows["name"].str[:3])[["outing", "stop", "worth"]].nunique()
    assert (by_number == 1).all(axis=None)
    assert rows["worth"].is_monotonic_decreasing
    assert (rows["outing"] > 0).all()


def test_every_stop_is_visited_once_and_outings_keep_their_limit() -> None:
    """Stops of an outing count from 1 without a gap; walking and looking take at most the hour; best outing first."""
    found = listed()
    assert len(found.outings) >= 2
    for number, outing in enumerate(found.outings, 1):
        stops = found.rows[found.rows["outing"] == number]["stop"]
        assert sorted(set(stops)) == list(range(1, len(outing.stops) + 1))
        assert outing.walking_minutes + outing.looking_minutes <= 60
    visited = [stop for outing in found.outings for stop in outing.stops]
    assert len(visited) == len(set(visited)) == found.rows["name"].str[:3].nunique()


def test_degrees_and_metres_are_one_place() -> None:
    """Within the rounding of both."""
    rows = listed().rows
    there = gpd.GeoSeries(gpd.points_from_xy(rows["longitude_deg"], rows["latitude_deg"]), crs="EPSG:4326").to_crs(CRS)
    assert np.allclose(there.x, rows["east_m"], atol=0.1)
    assert np.allclose(there.y, rows["north_m"], atol=0.1)


def test_the_likelier_the_nearer_and_the_weightier_come_first() -> None:
    """Of two alike in all else each of the three decides; two in one place are worth more than one."""
    apart = [(60.0, 60.0), (60.0, 140.0), (140.0, 60.0), (140.0, 140.0)]
    likely = make_check_list(questions(apart, chance=[0.2, 0.3, 0.1, 0.4]), flat_net(), CAR, outing_h=4)
    assert likely.rows["id"].iloc[0] == "id3"
    weighty = make_check_list(questions(apart, matters=[1, 1, 2, 1]), flat_net(), CAR, outing_h=4)
    assert weighty.rows["id"].iloc[0] == "id2"
    near = make_check_list(questions(apart), flat_net(), CAR, outing_h=0.5)
    assert near.rows["id"].iloc[[0, -1]].tolist() == ["id0", "id3"]
    shared = make_check_list(questions([*apart, (143.0, 140.0)]), flat_net(), CAR, outing_h=4)
    assert list(shared.rows["id"])[:2] == ["id3", "id4"]
    assert list(shared.rows["name"])[:3] == ["001", "001b", "002"]


def test_what_no_way_leads_to_is_on_no_outing_and_said_so() -> None:
    """Behind a cliff across the area; the list keeps it, last."""
    cliff = LineString([(EAST + 100, NORTH - 5), (EAST + 100, NORTH + 205)])
    net = flat_net(barriers=[cliff], cols=60)
    found = make_check_list(questions([(200.0, 50.0), (30.0, 50.0), (250.0, 50.0)]), net, CAR, outing_h=4)
    far = found.rows[found.rows["id"] == "id1"]
    assert far[["outing", "stop"]].to_numpy().tolist() == [[0, 0]]
    assert far["rank"].tolist() == [3]
    assert any("No way was found to 1 of them" in sentence for sentence in found.words)


def test_questions_about_the_ground_are_asked_where_one_can_come_to() -> None:
    """Ground not seen behind a cliff is asked from its foot; a boulder stays where it is."""
    cliff = LineString([(EAST + 150, NORTH - 5), (EAST + 150, NORTH + 205)])
    there = questions([(175.0, 50.0), (170.0, 90.0)], kind=["not_seen", "candidate"])
    rows = make_check_list(there, flat_net(barriers=[cliff]), CAR, outing_h=4).rows.set_index("id")
    assert rows.loc["id0", "east_m"] == EAST + 147.5
    assert rows.loc["id1", "east_m"] == EAST + 170


def test_each_walk_starts_at_the_nearer_of_two_cars() -> None:
    """Two parking places at opposite corners, a place near each."""
    cars = Parking(np.array([[EAST + 2.5, NORTH + 2.5], [EAST + 197.5, NORTH + 197.5]]), True, "")
    found = make_check_list(questions([(30.0, 30.0), (170.0, 170.0)]), flat_net(), cars, outing_h=4)
    starts = {tuple(outing.start) for outing in found.outings}
    assert starts == {tuple(place) for place in cars.places.tolist()}


def test_the_way_from_a_car_outside_the_survey_counts() -> None:
    """500 m before the survey begins, there and back, are twelve minutes of walking."""
    near = make_check_list(questions([(30.0, 30.0)]), flat_net(), CAR, outing_h=4).outings[0]
    outside = Parking(CAR.places - (500.0, 0.0), True, "")
    far = make_check_list(questions([(30.0, 30.0)]), flat_net(), outside, outing_h=4).outings[0]
    assert far.walking_minutes - near.walking_minutes == pytest.approx(2 * 500 / 84, rel=0.02)


def test_nothing_to_ask_makes_an_empty_list() -> None:
    """All files are still written."""
    found = make_check_list(questions([]), flat_net(), CAR, outing_h=4)
    assert list(found.rows.columns.drop("geometry")) == list(COLUMNS)
    assert "0 questions at 0 stops, 0 outings" in outings_in_words(found, area="A", outing_h=4)
    assert gpxpy.parse(check_points_gpx(found, area="A")).waypoints == []


def test_thousands_of_questions_are_ranked_and_the_best_are_walked(monkeypatch: pytest.MonkeyPatch) -> None:
    """3000 at once: all on the list, the best 30 stops on outings, and only these."""
    monkeypatch.setattr(check, "MOST_STOPS", 30)
    rng = np.random.default_rng(3)
    many = questions(list(map(tuple, rng.uniform(0, 295, (3000, 2)).tolist())), chance=rng.uniform(0.1, 0.5, 3000))
    found = make_check_list(many, flat_net(60, 60), CAR, outing_h=6)
    walked = found.rows[found.rows["outing"] > 0]
    assert len(found.rows) == 3000
    assert walked["name"].str.extract(r"(\d+)")[0].nunique() == 30
    assert walked["worth"].min() >= found.rows["worth"][found.rows["outing"] == 0].max()


def test_gpx_names_and_routes_are_those_of_the_list() -> None:
    """Read by another library: a waypoint a question and one for the car, a route an outing in the order of stops."""
    found = listed()
    read = gpxpy.parse(check_points_gpx(found, area="Hög <&> 山"))
    assert read.name == "Hög <&> 山: what to look at"
    assert [point.name for point in read.waypoints] == ["P", *found.rows["name"]]
    assert max(len(point.name) for point in read.waypoints) <= 6
    for number, route in enumerate(read.routes, 1):
        rows = found.rows[found.rows["outing"] == number].drop_duplicates("stop").sort_values("stop")
        assert [point.name for point in route.points] == ["P", *rows["name"], "P"]
    assert [len(track.segments) for track in read.tracks] == [1] * len(found.outings)


@pytest.mark.skipif(not SCHEMA.exists(), reason="the schema of GPX 1.1 lies beside TUSSOCK_DATA, not in the project")
def test_gpx_is_valid_by_its_schema() -> None:
    """Topografix's own schema takes it, and refuses it with an element out of order."""
    etree = pytest.importorskip("lxml.etree")
    schema = etree.XMLSchema(etree.parse(str(SCHEMA)))
    text = check_points_gpx(listed(), area="Hög <&> 山").encode()
    schema.assertValid(etree.parse(io.BytesIO(text)))
    assert not schema.validate(etree.parse(io.BytesIO(text.replace(b"<metadata>", b"<wpt/><metadata>"))))


def test_the_track_of_an_outing_goes_round_what_cannot_be_passed() -> None:
    """The straight line between two stops leads over the cliff, the track does not."""
    cliff = LineString([(EAST + 100, NORTH - 5), (EAST + 100, NORTH + 150)])
    found = make_check_list(questions([(60.0, 50.0), (140.0, 50.0)]), flat_net(barriers=[cliff]), CAR, outing_h=4)
    assert not LineString(found.outings[0].way).intersects(cliff)


def test_outings_in_words_name_every_stop() -> None:
    """How long, from where, and the questions in the order of the walk."""
    found = listed()
    text = outings_in_words(found, area="A", outing_h=1)
    assert f"45 questions at {found.rows['name'].str[:3].nunique()} stops, {len(found.outings)} outings" in text
    assert all(name in text for name in found.rows["name"])
    assert "the parking place that you named" in text
