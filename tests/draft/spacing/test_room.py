"""Room on paper: what is too near is moved, bent, thinned or cut, and said; what has room stays as it is."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point, box
from shapely.geometry.base import BaseGeometry

from pipeline.audit.audit import find_all
from pipeline.audit.printed import printed
from pipeline.draft.spacing.room import Roomy, make_room
from pipeline.features import join_features, make_features
from pipeline.norm.symbols import KIND_OF_GEOMETRY
from pipeline.sheet.symbols.cliff_foot import clear_of_cliffs
from pipeline.sheet.symbols.marks import Marks
from tests.paths import symbols

CRS = "EPSG:25832"
TABLE = symbols()
AREA = box(-500, -500, 500, 500)
M_PER_MM = 15.0
Thing = tuple[str, BaseGeometry]


def features(*things: Thing, status: str = "draft") -> gpd.GeoDataFrame:
    """Features in metres; the earlier ones are surer."""
    tables = [
        make_features([shape], crs=CRS, symbol=number, confidence=0.9 - 0.01 * row, evidence="made")
        for row, (number, shape) in enumerate(things)
    ]
    return join_features(tables, CRS).assign(status=status)


def with_room(*things: Thing) -> Roomy:
    """The things after room was made."""
    return make_room(features(*things), AREA, TABLE, north_deg=0.0)


def rules_broken(table: gpd.GeoDataFrame) -> list[str]:
    """The rules that the audit finds broken in what is drawn."""
    marks = []
    for number, shape in zip(table["symbol"], table.geometry, strict=True):
        on_paper = shapely.transform(shape, lambda points: points / M_PER_MM)
        nothing = np.array([np.nan])
        kind = KIND_OF_GEOMETRY[shape.geom_type]
        marks.append(Marks(TABLE[number], kind, np.array([on_paper], object), nothing, nothing, 1.0))
    sheet = shapely.transform(AREA, lambda points: points / M_PER_MM)
    return [one.rule for one in find_all(printed(clear_of_cliffs(marks)), sheet)]


def line(north: float, length: float = 200.0, east: float = -100.0) -> LineString:
    """A line to the east."""
    return LineString([(east, north), (east + length, north)])


def said(room: Roomy) -> set[tuple[str, str]]:
    """What the list of changes says of which symbol."""
    return {(what, number) for part in room.changes for what, number in zip(part["what"], part["symbol"], strict=True)}


def test_what_has_room_is_left_alone() -> None:
    """Nothing moves, nothing is said."""
    things = [("101", line(0)), ("101", line(8)), ("109", Point(0, 30)), ("204", Point(50, 60)), ("201", line(90))]
    room = with_room(*things)
    assert not said(room)
    assert sorted(shape.wkt for shape in room.features.geometry) == sorted(shape.wkt for _, shape in things)


@pytest.mark.parametrize(
    ("things", "change"),
    [
        ([("109", Point(0, 4)), ("101", line(0))], ("moved", "109")),
        ([("112", Point(0, 0)), ("112", Point(11, 0))], ("moved", "112")),
        ([("204", Point(0, 0)), ("204", Point(7, 0))], ("moved", "204")),
        ([("109", Point(498, 0))], ("moved", "109")),
        ([("109", Point(0, 3)), ("101", line(0)), ("101", line(7))], ("cut", "101")),
        ([("101", line(0)), ("101", line(4.2)), ("101", line(60))], ("moved", "101")),
        ([("102", line(0)), ("101", line(4.6)), ("101", line(-4.6))], ("thinned", "102")),
        ([("101", line(0)), ("101", line(2.5)), ("101", line(5))], ("cut", "101")),
        ([("104", line(0)), ("103", line(3.5))], ("moved", "103")),
        ([("201", line(0)), ("201", line(8))], ("moved", "201")),
        ([("513", line(0)), ("513", line(7))], ("moved", "513")),
        ([("202", line(0)), ("513", line(5.5))], ("moved", "513")),
        ([("513", line(0)), ("513", line(14)), ("513", line(7, 80.0))], ("cut", "513")),
    ],
)
def test_what_is_too_near_is_mended_and_said(things: list[Thing], change: tuple[str, str]) -> None:
    """The audit finds a fault before and none afterwards; how far something went is in the list."""
    assert rules_broken(features(*things)), "nothing to mend"
    room = with_room(*things)
    assert change in said(room)
    assert not rules_broken(room.features[room.features["status"] == "draft"])
    distances = np.concatenate([part["distance_m"].to_numpy(float) for part in room.changes if len(part)])
    assert (distances > 0).all()


def test_a_wall_without_room_stays_as_a_candidate() -> None:
    """Of three terraces too close for the norm the one between is cut and proposed; one with room is no candidate."""
    made = with_room(("513", line(0)), ("513", line(14)), ("513", line(7, 80.0)), ("513", line(90))).features
    proposed = made[made["status"] == "candidate"]
    assert len(proposed) == 1
    assert proposed.geometry.iloc[0].hausdorff_distance(line(7, 80.0)) < 1.0
    assert "no room on paper" in proposed["evidence"].iloc[0]


def test_walls_that_meet_or_cross_stay() -> None:
    """Where a wall begins at another there is no gap to keep."""
    meeting = LineString([(0, 0), (0, 90)])
    things = [("513", line(0)), ("513", meeting), ("513", LineString([(50, -40), (60, 40)]))]
    room = with_room(*things)
    assert not said(room)
    assert not rules_broken(room.features)


def test_a_point_is_moved_no_farther_than_the_norm_allows() -> None:
    """A knoll amid a tight fan of contours moves 3 m at most; a boulder 2.6 m."""
    things = [("109", Point(0, 3)), *(("101", line(7.0 * row)) for row in range(-3, 4))]
    moved = with_room(*things).features
    knoll = moved.geometry[moved["symbol"] == "109"].iloc[0]
    assert knoll.distance(Point(0, 3)) <= 3.0
    assert not rules_broken(moved)


def test_a_boulder_without_room_goes_and_is_said() -> None:
    """Boulders on one spot cannot all be drawn; the less sure ones are left out."""
    room = with_room(*(("205", Point(0.5 * row, 0)) for row in range(4)))
    assert ("dropped", "205") in said(room)
    assert room.features["confidence"].max() == pytest.approx(0.9)
    assert not rules_broken(room.features)


def test_candidates_stay_where_they_are() -> None:
    """What is not drawn needs no room, and takes none."""
    things = [("109", Point(0, 1)), ("101", line(0))]
    candidate = features(things[0], status="candidate")
    drawn = features(things[1])
    room = make_room(join_features([candidate, drawn], CRS), AREA, TABLE, north_deg=0.0)
    assert not said(room)


def test_a_slope_line_follows_its_contour() -> None:
    """The contour bends off another; its slope line still begins on it."""
    things = [("101", line(0)), ("101", line(4.2)), ("101.1", LineString([(0, 4.2), (0, 10.2)]))]
    moved = with_room(*things).features
    stroke = moved.geometry[moved["symbol"] == "101.1"].iloc[0]
    contours = moved.geometry[moved["symbol"] == "101"]
    assert contours.distance(Point(stroke.coords[0])).min() < 0.2


def test_contours_keep_their_direction_and_level() -> None:
    """Pieces of a thinned index contour run the way it ran and keep its elevation."""
    table = features(("102", line(0)), ("101", line(4.6)), ("101", line(-4.6)))
    table["elevation_m"] = [100.0, 105.0, 95.0]
    moved = make_room(table, AREA, TABLE, north_deg=0.0).features
    assert {"101"} == set(moved["symbol"])
    assert sorted(moved["elevation_m"]) == [95.0, 100.0, 105.0]
    assert all(shape.coords[-1][0] > shape.coords[0][0] for shape in moved.geometry)
