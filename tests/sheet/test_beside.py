"""Words beside places on a page: none over another, none off the page, a line where they stand off their place."""

from __future__ import annotations

import itertools

import numpy as np
import shapely

from pipeline.sheet.beside import APART_MM, Room, Written, squares_about
from pipeline.sheet.page.page import Box

PAGE = Box(10.0, 20.0, 100.0, 80.0)


def shape_of(written: Written) -> shapely.Polygon:
    """The box of words."""
    box = written.box
    return shapely.box(box.left, box.bottom, box.right, box.top)


def test_words_stand_to_the_right_where_that_is_free() -> None:
    """Close by and without a line; where a symbol stands to the right, to the left."""
    for symbols, expected in (
        (np.empty((0, 4)), 51.0 + APART_MM),
        (np.array([[52.0, 59, 53, 61]]), 49.0 - APART_MM - 4),
    ):
        written = Room(PAGE, symbols).put((50.0, 60.0), 4.0, 2.0, clear_mm=1.0)
        assert written is not None
        assert written.line is None
        np.testing.assert_allclose((written.box.left, written.box.bottom), (expected, 59.0))


def test_crowded_words_part_or_are_left_out() -> None:
    """Forty words about one spot: none over another, over a symbol, over the line of another, or off the page."""
    places = np.random.default_rng(1).normal((30.0, 40.0), 3.0, (40, 2))
    symbols = squares_about(places, 0.5)
    room = Room(PAGE, symbols)
    found = [room.put((east, north), 5.0, 2.0, clear_mm=0.5) for east, north in places.tolist()]
    written = [one for one in found if one is not None]
    assert 10 < len(written) < 40, "some find room, not all"
    lines = [shapely.LineString(one.line) for one in written if one.line is not None]
    assert lines, "some stand off"
    boxes = [shape_of(one) for one in written]
    for one, other in itertools.combinations(boxes, 2):
        assert one.intersection(other).area < 1e-9
    for box, corners in itertools.product(boxes, symbols.tolist()):
        assert box.intersection(shapely.box(*corners)).area < 1e-9
    for box in boxes:
        assert shapely.box(PAGE.left, PAGE.bottom, PAGE.right, PAGE.top).covers(box)
        assert max((line.intersection(box).length for line in lines), default=0.0) < 0.5, "a line ends at its words"


def test_the_line_leads_from_the_place_to_its_words() -> None:
    """It begins at what is drawn at the place and ends at the box."""
    place = (60.0, 60.0)
    ring = np.array([[58.0, 58.0, 62.0, 62.0]])
    written = Room(PAGE, ring).put(place, 4.0, 2.0, clear_mm=1.0)
    assert written is not None
    assert written.line is not None
    start, end = written.line
    np.testing.assert_allclose(shapely.Point(start).distance(shapely.Point(place)), 1.0)
    assert shapely.Point(end).distance(shape_of(written)) < 1e-9


def test_there_is_no_room_on_a_full_page() -> None:
    """All of it taken by a symbol."""
    assert Room(PAGE, np.array([[0.0, 0.0, 200.0, 200.0]])).put((50.0, 50.0), 1.0, 1.0, clear_mm=0.5) is None
