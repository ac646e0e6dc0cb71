"""Every rule of the audit finds the fault that is planted for it, and nothing where the norm is just kept."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from pipeline.audit.audit import RULES, find_all
from pipeline.audit.finding import Finding
from pipeline.audit.printed import Printed, printed
from pipeline.norm.symbols import KIND_OF_GEOMETRY
from pipeline.sheet.symbols.marks import Marks
from tests.paths import symbols

TABLE = symbols()
SHEET = box(-100, -100, 100, 100)
Thing = tuple[str, BaseGeometry]


def on_paper(*things: Thing, enlarge: float = 1.0) -> list[Printed]:
    """Features given in millimetres at 1:15 000, printed at a larger scale or at that."""
    marks = []
    for number, shape in things:
        enlarged = shapely.transform(shape, lambda points: points * enlarge)
        nothing = np.array([np.nan])
        kind = KIND_OF_GEOMETRY[shape.geom_type]
        marks.append(Marks(TABLE[number], kind, np.array([enlarged], object), nothing, nothing, enlarge))
    return printed(marks)


def found(*things: Thing, enlarge: float = 1.0) -> list[Finding]:
    """What the audit finds on a sheet with these things alone."""
    return find_all(on_paper(*things, enlarge=enlarge), SHEET)


def line(length: float, *, north: float = 0.0, east: float = 0.0) -> LineString:
    """A line to the east."""
    return LineString([(east, north), (east + length, north)])


def ring(long_mm: float, wide_mm: float, *, hollow: bool = False) -> LineString:
    """A closed line, the higher ground on its left: counter-clockwise for a hill."""
    angle = np.linspace(0, 2 * np.pi, 61)
    points = np.column_stack([long_mm / 2 * np.cos(angle), wide_mm / 2 * np.sin(angle)])
    return LineString((points[::-1] if hollow else points)[np.r_[0:60, 0]])


def spur(mouth_mm: float, depth_mm: float = 3.0) -> LineString:
    """A contour that runs out along a spur and back, its flanks that far apart."""
    half = mouth_mm / 2
    return LineString([(-8, 0), (-half, 0), (-half, depth_mm), (half, depth_mm), (half, 0), (8, 0)])


def dumbbell(neck_mm: float) -> Polygon:
    """Two squares of 2 mm, joined by a neck 1 mm long."""
    half = neck_mm / 2
    return shapely.union_all([box(0, -1, 2, 1), box(2, -half, 3, half), box(3, -1, 5, 1)])


def holed(side_mm: float) -> Polygon:
    """A square of 6 mm with a square hole."""
    half = side_mm / 2
    return box(-3, -3, 3, 3).difference(box(-half, -half, half, half))


KEPT_AND_BROKEN: list[tuple[str, list[Thing], list[Thing]]] = [
    ("length", [("201", line(0.6))], [("201", line(0.5))]),
    ("length", [("306", line(2.75))], [("306", line(2.5))]),
    ("length", [("306", line(1.5)), ("306", line(1.5, east=1.6))], [("306", line(1.5)), ("306", line(1.5, east=9))]),
    ("area", [("406", box(0, 0, 1, 1))], [("406", box(0, 0, 0.9, 0.9))]),
    ("area", [("206", box(0, 0, 0.55, 0.55))], [("206", box(0, 0, 0.5, 0.5))]),
    ("extent", [("310", box(0, 0, 2, 0.7))], [("310", box(0, 0, 4, 0.5))]),
    ("extent", [("407", box(0, 0, 1.5, 1))], [("407", box(0, 0, 1.25, 1.25))]),
    ("width", [("410", dumbbell(0.25))], [("410", dumbbell(0.2))]),
    ("width", [("302", box(0, 0, 8, 0.3))], [("302", box(0, 0, 8, 0.2))]),
    ("opening", [("406", holed(1.0))], [("406", holed(0.9))]),
    ("opening", [("408", holed(0.7))], [("408", holed(0.6))]),
    ("opening", [("406", holed(0.7)), ("410", box(-0.35, -0.35, 0.35, 0.35))], [("406", holed(0.7))]),
    ("ring", [("101", ring(0.8, 0.5))], [("101", ring(0.7, 0.5))]),
    ("ring", [("101", ring(1.0, 0.6, hollow=True))], [("101", ring(0.8, 0.5, hollow=True))]),
    ("bend", [("101", spur(0.6))], [("101", spur(0.2))]),
    ("mouth", [("101", spur(0.52))], [("101", spur(0.4))]),
    ("gap", [("101", line(9)), ("101", line(9, north=0.3))], [("101", line(9)), ("101", line(9, north=0.27))]),
    ("gap", [("306", line(9)), ("305", line(9, north=0.44))], [("306", line(9)), ("305", line(9, north=0.4))]),
    ("gap", [("101", line(9)), ("109", Point(4, 0.38))], [("101", line(9)), ("109", Point(4, 0.34))]),
    ("gap", [("112", Point(0, 0)), ("112", Point(0.8, 0))], [("112", Point(0, 0)), ("112", Point(0.7, 0))]),
    ("gap", [("204", Point(0, 0)), ("204", Point(0.56, 0))], [("204", Point(0, 0)), ("204", Point(0.5, 0))]),
    (
        "gap",
        [("101", line(9)), ("107", LineString([(4, -3), (4, 3)]))],
        [("101", line(9)), ("107", line(9, north=0.3))],
    ),
    ("way", [("201", line(9)), ("201", line(9, north=1.2))], [("201", line(9)), ("201", line(9, north=0.91))]),
    (
        "way",
        [("301", box(0, 0, 5, 5)), ("521", box(5.4, 0, 9, 5))],
        [("301", box(0, 0, 5, 5)), ("521", box(5.2, 0, 9, 5))],
    ),
    ("edge", [("417", Point(99.5, 0))], [("417", Point(99.7, 0))]),
]


@pytest.mark.parametrize("enlarge", [1.0, 1.5])
@pytest.mark.parametrize(("rule", "kept", "broken"), KEPT_AND_BROKEN)
def test_a_planted_fault_is_found_and_a_rule_kept_is_not(
    rule: str, kept: list[Thing], broken: list[Thing], enlarge: float
) -> None:
    """The norm's figure on one side and a little less on the other; larger scales enlarge both."""
    assert not [one for one in found(*kept, enlarge=enlarge) if one.rule == rule]
    faults = [one for one in found(*broken, enlarge=enlarge) if one.rule == rule]
    assert faults, f"no {rule} found"
    assert all(one.found < one.asked for one in faults if rule != "edge")


def test_dots_too_few_and_too_near_are_found() -> None:
    """An area of broken ground with two dots, and one whose dots lie on each other."""
    (one,) = on_paper(("113", box(0, 0, 3, 3)))
    assert not find_all([one], SHEET), "as it is drawn it keeps the rules"
    assert [fault.rule for fault in find_all([replace(one, marks=one.marks[:0])], SHEET)] == ["count"]
    doubled = np.concatenate([one.marks, one.marks[:1] + 0.2])
    assert [fault.rule for fault in find_all([replace(one, marks=doubled)], SHEET)] == ["spacing"]


def test_a_mark_of_another_size_is_found() -> None:
    """A boulder printed a quarter too large."""
    (one,) = on_paper(("204", Point(0, 0)))
    assert not find_all([one], SHEET)
    large = replace(one, ink=shapely.buffer(one.shape, 0.25))
    assert [fault.rule for fault in find_all([large], SHEET)] == ["size"]


def test_every_rule_has_a_planted_fault() -> None:
    """No rule is written down that nothing was planted for."""
    planted = {rule for rule, _, _ in KEPT_AND_BROKEN} | {"count", "spacing", "size"}
    assert planted == set(RULES)


@pytest.mark.parametrize("number", [number for number, symbol in TABLE.rows.items() if "point" in symbol.kinds])
def test_every_mark_is_measured_as_large_as_the_table_says(number: str) -> None:
    """Its ink lies within the length and width of the table, and reaches them in one direction at least."""
    (one,) = on_paper((number, Point(0, 0)))
    west, south, east, north = one.ink.bounds
    asked = sorted([TABLE[number].mm("length_mm"), TABLE[number].mm("width_mm")])
    assert sorted([east - west, north - south])[1] == pytest.approx(asked[1], abs=0.2)


def test_tags_of_a_cliff_are_ink() -> None:
    """The line is 0.35 mm wide, its tags reach 0.5 mm further to the right."""
    (one,) = on_paper(("201", line(5)))
    _, south, _, north = one.ink.bounds
    assert (south, north) == pytest.approx((-0.675, 0.175))
    assert shapely.bounds(one.body)[1] == pytest.approx(-0.175)
