"""Elevations on index contours."""

import math

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point

from pipeline.sheet.symbols.labels import Labels, contour_labels

NOTHING = np.empty(0, object)


def ring(radius_mm: float, *, uphill_inside: bool = True) -> LineString:
    """A round contour; counter-clockwise has the inside, and so the higher ground, on its left."""
    angle = np.linspace(0, 2 * math.pi, 200) * (1 if uphill_inside else -1)
    return LineString(radius_mm * np.column_stack([np.cos(angle), np.sin(angle)]))


def labels_of(*lines: LineString, elevation_m: float = 125.0, obstacles: tuple = (), distance_mm: float = 60) -> Labels:
    """Labels of contours at 1:15 000."""
    return contour_labels(
        np.array(lines, object),
        np.full(len(lines), elevation_m),
        np.array(obstacles, object) if obstacles else NOTHING,
        enlarge=1.0,
        shortest_line_mm=40,
        distance_mm=distance_mm,
    )


@pytest.mark.parametrize("uphill_inside", [True, False])
def test_top_of_a_label_is_uphill(uphill_inside: bool) -> None:
    """On a hill the top of the figures points inwards, in a hollow outwards."""
    labels = labels_of(ring(30, uphill_inside=uphill_inside))
    assert labels.words[:1] == ("125",)
    top = np.radians(labels.turn_deg[0] + 90)
    inwards = -labels.places[0] @ np.array([np.cos(top), np.sin(top)])
    assert (inwards > 0) == uphill_inside


def test_label_lies_on_its_contour_and_has_the_norms_height() -> None:
    """The middle of a label is on the line; it is 1.5 mm high at 1:15 000 (ISOM 2017-2, 102)."""
    labels = labels_of(LineString([(0, 0), (60, 0)]))
    assert labels.places[0] == pytest.approx([30, 0], abs=3)
    assert labels.height_mm == 1.5
    assert np.ptp(shapely.get_coordinates(labels.boxes[0])[:, 1]) == pytest.approx(1.5)


def test_no_label_over_detail() -> None:
    """A boulder where the label would stand moves it along; boulders everywhere leave none."""
    line = LineString([(0, 0), (60, 0)])
    free = labels_of(line)
    moved = labels_of(line, obstacles=(Point(free.places[0]),))
    assert len(moved.words) == 1
    assert abs(moved.places[0][0] - free.places[0][0]) > 1.5
    assert not labels_of(line, obstacles=tuple(Point(x, 0.3) for x in range(0, 61, 2))).words


def test_no_label_on_short_or_winding_or_nameless_contours() -> None:
    """Short rings, sharp bends, and contours without elevation stay without."""
    along = np.arange(0, 80, 0.25)
    winding = LineString(np.column_stack([along, 1.2 * np.sin(along * 2.5)]))
    assert not labels_of(ring(5)).words
    assert not labels_of(winding).words
    assert not labels_of(ring(30), elevation_m=math.nan).words


def test_labels_are_few() -> None:
    """On a long contour labels keep their distance."""
    labels = labels_of(LineString([(0, 0), (400, 0)]), distance_mm=60)
    apart = np.diff(np.sort(labels.places[:, 0]))
    assert 5 <= len(labels.words) <= 7
    assert apart.min() >= 60


def test_half_metres_are_written() -> None:
    """With an interval of 2.5 m an index contour may lie at 312.5 m."""
    assert labels_of(ring(60), elevation_m=312.5).words[0] == "312.5"


def test_labels_do_not_depend_on_the_order_of_the_contours() -> None:
    """Two near contours compete for a label; the order in which they come does not decide."""
    first, second = LineString([(0, 0), (80, 0)]), LineString([(0, 10), (80, 10)])
    one, other = labels_of(first, second), labels_of(second, first)
    assert one.places == pytest.approx(other.places)
    assert one.places[0][1] == pytest.approx(10)
