"""What words on a waypoint mean: which place, what was found, which symbol."""

from __future__ import annotations

import pandas as pd
import pytest
from shapely.geometry import Point

from pipeline.fieldwork.questions.columns import COLUMNS
from pipeline.marks.apply import apply_marks
from pipeline.marks.mark import Kept, Mark
from pipeline.marks.merging import merged
from pipeline.marks.naming import Ground, Named, marks_of
from pipeline.marks.walk import Spot
from pipeline.marks.words import said_in, symbol_in
from tests.marks.drafts import CRS, EAST, NORTH, made_draft, written

NAMES = ("001", "017", "204")


def ground() -> Ground:
    """The made draft with a list of three boulders, a path, and a place for a note on runnability."""
    tables = written(made_draft())
    features = {str(row["id"]): (name, row) for name, table in tables.items() for _, row in table.iterrows()}
    rows = [
        ("001", "boulder0", "204", "doubtful", EAST, NORTH),
        ("017", "boulder1", "204", "candidate", EAST + 20, NORTH),
        ("204", "boulder2", "204", "doubtful", EAST + 40, NORTH),
        ("018", "path0", "505", "doubtful", EAST + 45, NORTH + 52.5),
        ("019", "place-1", "405", "notes", EAST + 60, NORTH + 90),
        ("020", "thicket", "600.1", "not_seen", EAST + 10, NORTH + 160),
    ]
    listed = pd.DataFrame(rows, columns=["name", "id", "symbol", "kind", "east_m", "north_m"])
    listed = listed.reindex(columns=list(COLUMNS)).assign(minutes=4.0)
    return Ground(listed, features, {})


def named(text: str, east: float, north: float, **more: str) -> Named:
    """Marks of one waypoint, so many metres from the corner of the draft."""
    spot = Spot((text,), Point(EAST + east, NORTH + north), at="2026-11-28T10:00:00", **more)
    return marks_of([spot], ground(), source="walk.gpx")


@pytest.mark.parametrize(
    ("text", "name", "status", "symbol"),
    [
        ("017 ok", "017", "confirmed", ""),
        ("17: NO!", "017", "rejected", ""),
        ("017 moved", "017", "moved", ""),
        ("017 nej, stubbe", "017", "rejected", ""),
        ("017 206", "017", None, "206"),
        ("new boulder", "", "new", "204"),
        ("large boulder", "", None, "205"),
        ("boulder field", "", None, "208"),
        ("Cairn", "", None, "526"),
        ("car park", "", None, ""),
        ("", "", None, ""),
    ],
)
def test_words_are_understood(text: str, name: str, status: str | None, symbol: str) -> None:
    """Name, word and symbol, in several ways of writing."""
    said = said_in(text, NAMES)
    assert (said.name, said.status, said.symbol) == (name, status, symbol)


def test_numbers_that_are_no_symbols_name_none() -> None:
    """Heights, years and half numbers are not symbols of the norm."""
    assert [symbol_in(text) for text in ("999", "1204 m", "299 paces", "508.2", "no. 204")] == [
        "",
        "",
        "",
        "508.2",
        "204",
    ]


def test_a_word_on_a_listed_place_marks_its_feature() -> None:
    """With the row's name and minutes, and the feature as it was."""
    mark = named("017 ok", 24, 3).marks[0]
    assert (mark.id, mark.status, mark.name, mark.minutes) == ("boulder1", "confirmed", "017", 4.0)
    assert mark.was is not None
    assert (mark.was.confidence, mark.was.status) == (0.35, "candidate")


def test_moved_takes_the_place_of_the_waypoint() -> None:
    """A point goes there; a path is shifted so that it passes there, its length kept."""
    point, path = named("017 moved", 26, 2).marks[0], named("018 moved", 45, 60).marks[0]
    assert point.geometry is not None
    assert point.geometry.equals(Point(EAST + 26, NORTH + 2))
    assert path.geometry is not None
    assert path.geometry.distance(Point(EAST + 45, NORTH + 60)) < 1e-6
    layers = apply_marks(made_draft(), [point, path]).layers
    assert layers["rock_point"].set_index("id").geometry["boulder1"].equals(point.geometry)
    moved = layers["manmade_line"].set_index("id").geometry["path0"]
    assert moved.length == pytest.approx(made_draft()["manmade_line"].geometry[0].length)


def test_a_name_far_from_its_place_is_of_another_list() -> None:
    """Said and not taken: lists are numbered anew."""
    found = named("017 no", 400, 0)
    assert not found.marks
    assert "made with another list" in found.warnings[0]


def test_the_lists_own_waypoint_brought_back_says_nothing() -> None:
    """Without a word and at its place; moved a little and without a word, somebody was there."""
    assert named("017", 20, 0).untouched == 1
    assert named("017", 25, 0).marks[0].status == "seen"


def test_a_number_may_be_a_symbol_or_a_name() -> None:
    """204 at the place called 204 is that place; far from it, it is a boulder that no draft had."""
    assert named("204", 40.2, 0).untouched == 1
    assert named("204 no", 41, 0).marks[0].id == "boulder2"
    new = named("204", 300, 20).marks[0]
    assert (new.status, new.symbol, new.layer) == ("new", "204", "rock_point")


def test_what_a_point_cannot_draw_is_kept_as_a_note() -> None:
    """A cliff is a line; the waypoint is kept and said to be missing from the map."""
    found = named("cliff", 300, 20)
    assert found.marks[0].is_place
    assert "draw it into draft.gpkg" in found.warnings[0]


def test_an_answer_on_runnability_is_kept_with_its_place() -> None:
    """For `tussock calibrate`; no feature of the draft is touched."""
    mark = named("019 406", 61, 90).marks[0]
    assert (mark.id, mark.symbol, mark.is_place, mark.status) == ("place-1", "406", True, "confirmed")
    assert apply_marks(made_draft(), [mark]).layers["rock_point"].equals(made_draft()["rock_point"])


def test_a_word_on_ground_not_seen_is_about_the_place() -> None:
    """The area that says "not seen" is neither confirmed nor rejected by it."""
    mark = named("020 ok", 10, 160).marks[0]
    assert (mark.id, mark.is_place) == ("thicket", True)


def test_the_question_that_a_device_gives_back_is_no_answer() -> None:
    """Beside the name stands what the list had asked, with a symbol in it; cut off or whole."""
    at = ground()
    at.listed["look_at"] = "Boulder (204) is drawn: is it there?"
    for words in ("Boulder (204) is drawn: is it there? 1.6 m high", "Boulder (204) is drawn"):
        spot = Spot(("017", words), Point(EAST + 20, NORTH))
        assert marks_of([spot], at, source="w.gpx").untouched == 1


def test_another_symbol_is_drawn_where_the_norm_can() -> None:
    """A boulder may become a cluster; it becomes no path."""
    cluster, path = named("001 207", 1, 0), named("001 505", 1, 0)
    drawn = apply_marks(made_draft(), cluster.marks).layers["rock_point"].set_index("id")
    assert list(drawn.loc["boulder0", ["symbol", "name", "status"]]) == ["207", "Boulder cluster", "confirmed"]
    assert path.marks[0].symbol == "204"
    assert "draws in another way" in path.warnings[0]


def test_marks_of_the_page_come_by_id() -> None:
    """With the words of the contract, wherever the finger was."""
    mark = named("", 20, 0, id="boulder1", status="rejected", note="a stump").marks[0]
    assert (mark.id, mark.status, mark.note) == ("boulder1", "rejected", "a stump")
    assert named("", 5, 5, id="no-such-id", status="rejected").unclear == ["no-such-id"]
    assert named("", 300, 5, id="page-7", status="new", symbol="526").marks[0].id == "page-7"


def test_a_photo_is_of_the_nearest_place() -> None:
    """Within 20 m; farther off it is of nothing on the list. A word in its name is a word."""
    for east, found in ((33.0, ["seen"]), (300.0, [])):
        spot = Spot(("IMG_1",), Point(EAST + east, NORTH), is_photo=True)
        assert [mark.status for mark in marks_of([spot], ground(), source="IMG_1.jpg").marks] == found
    spot = Spot(("017 no",), Point(EAST + 22, NORTH), is_photo=True)
    assert marks_of([spot], ground(), source="017 no.jpg").marks[0].status == "rejected"


def said(status: str, at: str = "", **more: object) -> Mark:
    """A mark on one thing."""
    return Mark.model_validate({"id": "a", "status": status, "at": at} | more)


@pytest.mark.parametrize(
    ("first", "second", "stays"),
    [
        (said("confirmed", "2026-11-01"), said("rejected", "2026-11-02"), "rejected"),
        (said("confirmed", "2026-11-02"), said("rejected", "2026-11-01"), "confirmed"),
        (said("confirmed", "2026-11-02"), said("rejected"), "rejected"),
        (said("rejected"), said("seen", "2026-12-01"), "rejected"),
        (said("seen"), said("confirmed"), "confirmed"),
    ],
)
def test_the_later_word_wins(first: Mark, second: Mark, stays: str) -> None:
    """By the time of finding where both say it, else by the order of handing over; a walk past is no word."""
    kept = merged(Kept(crs=CRS), [first], at="x", source="one")
    kept = merged(kept, [second], at="y", source="two")
    assert [mark.status for mark in kept.marks] == [stays]
    assert len(kept.log) == 2
    assert bool(kept.log[1].replaced) == (stays != first.status)


def test_a_later_yes_keeps_where_the_mapper_put_it() -> None:
    """Confirmed after moved: the thing is there, at the place of the earlier walk."""
    moved = said("moved", geometry=Point(1, 2), has_moved=True, changed={"height_m": 2.5, "status": "moved"})
    kept = merged(Kept(crs=CRS), [moved], at="x", source="one")
    after = merged(kept, [said("confirmed", geometry=Point(0, 0))], at="y", source="two").marks[0]
    assert after.geometry is not None
    assert after.geometry.equals(Point(1, 2))
    assert (after.status, after.changed) == ("moved", {"height_m": 2.5})
