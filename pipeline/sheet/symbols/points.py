"""How point symbols are drawn: upright on a map with magnetic north up, unless the symbol turns."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pipeline.sheet.page.colours import PLATES, Plate, tint
from pipeline.sheet.page.ink import CIRCLE, Ink, Shape, arc, joined, polyline
from pipeline.sheet.symbols.marks import Marks

TRIANGLE = polyline([(-0.5, -1 / 3), (0.5, -1 / 3), (0.0, 2 / 3)], closed=True)
VEE = polyline([(-0.5, 0.5), (0.0, -0.5), (0.5, 0.5)])
SEMICIRCLE = Shape(arc(2, start_deg=180).steps, arc(2, start_deg=180).points * (1.0, 2.0) + (0.0, 0.5))
CROSS = joined(polyline([(-0.5, -0.5), (0.5, 0.5)]), polyline([(-0.5, 0.5), (0.5, -0.5)]))
SQUARE = polyline([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)], closed=True)
SPRING = Shape(arc(2, start_deg=180).steps, arc(2, start_deg=0).points * (1.0, 2.0) - (0.0, 0.5))
STAR = joined(
    *(
        polyline([(-0.5 * np.cos(angle), -0.5 * np.sin(angle)), (0.5 * np.cos(angle), 0.5 * np.sin(angle))])
        for angle in np.radians([90.0, 30.0, 150.0])
    )
)
PLUS = joined(polyline([(-0.5, 0.0), (0.5, 0.0)]), polyline([(0.0, -0.5), (0.0, 0.5)]))
TEE = joined(polyline([(-0.5, 0.5), (0.5, 0.5)]), polyline([(0.0, 0.5), (0.0, -0.5)]))
RACK = joined(polyline([(-0.5, 0.5), (0.0, 0.0), (0.5, 0.5)]), polyline([(0.0, 0.5), (0.0, -0.5)]))
CROSSING = joined(
    polyline([(-0.5, -0.5), (-0.2, -0.2), (-0.2, 0.2), (-0.5, 0.5)]),
    polyline([(0.5, -0.5), (0.2, -0.2), (0.2, 0.2), (0.5, 0.5)]),
)


def _solid(shape: Shape) -> Callable[[Ink, Marks], None]:
    """A drawing that fills the shape."""

    def draw(ink: Ink, marks: Marks) -> None:
        size = (marks.mm("length_mm"), marks.mm("width_mm"))
        ink.stamp(PLATES[marks.symbol.ink], tint(marks.symbol.ink), shape, marks.places, size_mm=size)

    return draw


def _outlined(shape: Shape, *, turns: bool = False, is_open: bool = False) -> Callable[[Ink, Marks], None]:
    """A drawing that follows the shape with a line; the size is the outer one, the line's width included.

    A shape open to one side has the line's width at the other alone.
    """

    def draw(ink: Ink, marks: Marks) -> None:
        line = marks.mm("line_mm")
        size = (marks.mm("length_mm") - line, marks.mm("width_mm") - (line / 2 if is_open else line))
        turn = np.nan_to_num(marks.turn_deg) if turns else None
        plate, colour = PLATES[marks.symbol.ink], tint(marks.symbol.ink)
        ink.stamp(plate, colour, shape, marks.places, size_mm=size, turn_deg=turn, line_mm=line)

    return draw


def _dot(ink: Ink, marks: Marks, /) -> None:
    dot = marks.mm("dot_mm")
    ink.stamp(PLATES[marks.symbol.ink], tint(marks.symbol.ink), CIRCLE, marks.places, size_mm=(dot, dot))


def _ellipse(ink: Ink, marks: Marks, /) -> None:
    """The long axis points along the direction of the feature; without one it lies east to west."""
    size = (marks.mm("width_mm"), marks.mm("length_mm"))
    turn = np.where(np.isnan(marks.turn_deg), 90.0, marks.turn_deg)
    ink.stamp(PLATES[marks.symbol.ink], tint(marks.symbol.ink), CIRCLE, marks.places, size_mm=size, turn_deg=turn)


def _white_ring(ink: Ink, marks: Marks, /) -> None:
    size = (marks.mm("length_mm"), marks.mm("width_mm"))
    ink.stamp(Plate.WHITE, tint("white"), CIRCLE, marks.places, size_mm=size)
    _outlined(CIRCLE)(ink, marks)


def _ringed_dot(ink: Ink, marks: Marks, /) -> None:
    _outlined(CIRCLE)(ink, marks)
    _dot(ink, marks)


def _tower(ink: Ink, marks: Marks, /) -> None:
    _outlined(PLUS)(ink, marks)
    _dot(ink, marks)


POINT_DRAWINGS: dict[str, Callable[[Ink, Marks], None]] = {
    "dot": _dot,
    "spot_height": _dot,
    "ellipse": _ellipse,
    "triangle": _solid(TRIANGLE),
    "semicircle": _outlined(SEMICIRCLE, is_open=True),
    "vee": _outlined(VEE),
    "cave": _outlined(VEE, turns=True),
    "ring": _outlined(CIRCLE),
    "white_ring": _white_ring,
    "ringed_dot": _ringed_dot,
    "square": _outlined(SQUARE),
    "spring": _outlined(SPRING, turns=True, is_open=True),
    "star": _outlined(STAR),
    "cross": _outlined(CROSS),
    "tower": _tower,
    "small_tower": _outlined(TEE),
    "rack": _outlined(RACK),
    "crossing": _outlined(CROSSING, turns=True),
    "ruin": _outlined(SQUARE),
}
