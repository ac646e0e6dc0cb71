"""On paper boulders stand clear of cliffs; the draft is not changed."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from pipeline.norm.symbols import Kind
from pipeline.sheet.page.colours import Plate
from pipeline.sheet.page.ink import Ink
from pipeline.sheet.symbols.cliff_foot import clear_of_cliffs
from pipeline.sheet.symbols.marks import Marks
from pipeline.sheet.symbols.symbol import draw_marks
from tests.paths import symbols

TABLE = symbols()
CLIFF = shapely.LineString([(0, 0), (0, 6)])
"""Runs north; it falls to the right, the east."""


def marks(number: str, kind: Kind, *geometry: shapely.Geometry, enlarge: float = 1.0) -> Marks:
    """Features of one symbol at 1:15 000."""
    nothing = np.full(len(geometry), np.nan)
    return Marks(TABLE[number], kind, np.array(geometry, object), nothing, nothing, enlarge)


def boulder_at(east: float, north: float, *, number: str = "204", enlarge: float = 1.0) -> shapely.Point:
    """Where a boulder beside the cliff is drawn, all in millimetres of the map."""
    cliff = marks("201", "line", CLIFF, enlarge=enlarge)
    _, moved = clear_of_cliffs([cliff, marks(number, "point", shapely.Point(east, north), enlarge=enlarge)])
    return moved.geometry[0]


@pytest.mark.parametrize(("number", "radius_mm"), [("204", 0.2), ("205", 0.3), ("207", np.hypot(0.4, 0.69 / 3))])
@pytest.mark.parametrize("east", [0.1, -0.1])
@pytest.mark.parametrize("enlarge", [1.0, 1.5])
def test_a_boulder_on_a_cliffs_line_is_moved_off_on_its_own_side(
    number: str, radius_mm: float, east: float, enlarge: float
) -> None:
    """ISOM 2017-2: half of the line's 0.35 mm, half of the symbol and a gap of 0.15 mm lie between the middles."""
    at = boulder_at(east, 3, number=number, enlarge=enlarge)
    assert at.x == pytest.approx(np.sign(east) * (0.175 + radius_mm + 0.15) * enlarge)
    assert at.y == pytest.approx(3)


def test_a_boulder_on_the_very_line_goes_to_the_foot() -> None:
    """Blocks lie where they fell."""
    assert boulder_at(0, 3).x == pytest.approx(0.525)


def test_boulders_away_from_the_line_stay() -> None:
    """Nothing is moved that need not be, tags or not."""
    assert boulder_at(0.6, 3).equals(shapely.Point(0.6, 3))
    assert boulder_at(0.1, 7).equals(shapely.Point(0.1, 7))


def test_tags_are_left_out_where_a_dot_stands() -> None:
    """At the boulder there is no tag, elsewhere all of them; without boulders all are there."""
    boulder = marks("204", "point", shapely.Point(0.6, 3))
    cliff, _ = clear_of_cliffs([marks("201", "line", CLIFF), boulder])
    every, left = tips(replace(cliff, no_tags_in=None)), tips(cliff)
    assert (np.abs(every - 3) < 0.35).any()
    assert not (np.abs(left - 3) < 0.35).any()
    assert left.tolist() == [north for north in every if abs(north - 3) >= 0.35]


def tips(cliff: Marks) -> NDArray[np.float64]:
    """How far north the tips of a cliff's tags lie."""
    ink = Ink()
    draw_marks(ink, cliff)
    points = np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+) [ml]\n", ink.text_of(Plate.BLACK)), np.float64)
    return np.sort(points[points[:, 0] > 0.5, 1])
