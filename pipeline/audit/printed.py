"""What a sheet prints of each feature: its ink as shapes, in millimetres at 1:15 000.

The drawing functions of the sheet are asked to draw every feature by itself, into an ink that remembers shapes
instead of writing them to a page. So what is measured is what comes on paper, tags and dots included.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pipeline.norm.symbols import Kind, Symbol
from pipeline.sheet.page.colours import Cmyk, Plate
from pipeline.sheet.page.ink import BUTT, Geometries, Ink, Places, Shape
from pipeline.sheet.symbols.marks import Marks
from pipeline.sheet.symbols.symbol import draw_marks

CURVE_STEPS = 6
"""Straight steps that a quarter of a circle is measured in: they leave it by 1 % of the radius (our choice)."""


@dataclass(frozen=True)
class Printed:
    """One feature on paper. All shapes are in millimetres at 1:15 000.

    Attributes
    ----------
    symbol : Symbol
    kind : point, line or area
    shape : the feature itself: a point, the middle of a line, the area
    body : what its main line, or its whole mark, covers; of an area the area and half of its outline
    ink : body and all that hangs on it, such as tags and the dots of a wall
    marks : (n, 2) float64, places of the dots and triangles of a pattern; none for others
    """

    symbol: Symbol
    kind: Kind
    shape: BaseGeometry
    body: BaseGeometry
    ink: BaseGeometry
    marks: Places


# ruff: noqa: ARG002 - the ink takes what every ink takes; colours and plates do not matter here


@dataclass
class RememberingInk(Ink):
    """An ink that keeps the shapes it is asked to print."""

    shapes: list[BaseGeometry] = field(default_factory=list)
    stamped: list[Places] = field(default_factory=list)

    def fill(self, plate: Plate, colour: Cmyk, areas: Geometries, /) -> None:
        """Areas as they are."""
        self.shapes += list(areas)

    def stroke(
        self,
        plate: Plate,
        colour: Cmyk,
        lines: Geometries,
        /,
        *,
        line_mm: float,
        cap: int = BUTT,
        dashes_mm: Sequence[Sequence[float]] | None = None,
    ) -> None:
        """Lines with their width. A broken line counts whole: gaps are asked for between lines, not between dashes."""
        rings = shapely.get_dimensions(lines) == 2
        paths = np.array(np.where(rings, shapely.boundary(lines), lines), np.object_)
        style: Literal["flat", "round"] = "flat" if cap == BUTT else "round"
        self.shapes += list(shapely.buffer(paths, line_mm / 2, quad_segs=CURVE_STEPS, cap_style=style))

    def stamp(
        self,
        plate: Plate,
        colour: Cmyk,
        shape: Shape,
        places: Places,
        /,
        *,
        size_mm: tuple[float, float],
        turn_deg: NDArray[np.float64] | None = None,
        line_mm: float | None = None,
    ) -> None:
        """A shape at each place, its curves in straight steps."""
        turns = np.zeros(len(places)) if turn_deg is None else np.asarray(turn_deg, np.float64)
        self.stamped.append(places)
        for place, turn in zip(places, turns, strict=True):
            parts = [_turned(part * size_mm, turn) + place for part in _parts_of(shape)]
            self.shapes += [_inked(part, line_mm) for part in parts]

    def hatch(self, plate: Plate, colour: Cmyk, areas: Geometries, lines: Geometries, /, *, line_mm: float) -> None:
        """Nothing: the lines of a pattern are not measured, the area they fill is."""


def _turned(points: Places, turn_deg: float) -> Places:
    """Points turned clockwise."""
    angle = np.radians(turn_deg)
    turned: Places = points @ np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return turned


def _inked(points: Places, line_mm: float | None) -> BaseGeometry:
    """A path filled, or drawn with a line."""
    if line_mm is None:
        return shapely.Polygon(points)
    line = shapely.LineString(points)
    return line.buffer(line_mm / 2, quad_segs=CURVE_STEPS, cap_style="flat", join_style="mitre")


def _parts_of(shape: Shape) -> list[Places]:
    """The paths of a shape of unit size."""
    parts: list[list[Places]] = []
    at = 0
    for step in shape.steps:
        if step == "m":
            parts.append([shape.points[at : at + 1]])
        elif step == "l":
            parts[-1].append(shape.points[at : at + 1])
        elif step == "c":
            parts[-1].append(_curve(np.concatenate([parts[-1][-1][-1:], shape.points[at : at + 3]])))
        else:
            parts[-1].append(parts[-1][0])
        at += {"m": 1, "l": 1, "c": 3}.get(step, 0)
    return [np.concatenate(part) for part in parts]


def _curve(control: Places) -> Places:
    """Places along a cubic curve of four control points, without its first (ISO 32000-1, 8.5.2.2)."""
    t = np.linspace(0, 1, CURVE_STEPS + 1)[1:, None]
    weights = np.concatenate([(1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3], axis=1)
    places: Places = weights @ control
    return places


def printed(marks: Sequence[Marks], /) -> list[Printed]:
    """Every feature of the marks as it comes on paper."""
    found = [_printed_one(mark, place) for mark in marks for place in range(len(mark.geometry))]
    return [one for one in found if not one.body.is_empty]


def _printed_one(mark: Marks, place: int) -> Printed:
    """One feature of the marks."""
    at = slice(place, place + 1)
    alone = replace(mark, geometry=mark.geometry[at], turn_deg=mark.turn_deg[at], elevation_m=mark.elevation_m[at])
    if mark.beside is not None:
        alone = replace(alone, beside=mark.beside[at])
    ink = RememberingInk()
    draw_marks(ink, alone)
    shape = _at_base_scale(mark.geometry[place], mark.enlarge)
    drawn = [_at_base_scale(one, mark.enlarge) for one in ink.shapes]
    dots = np.concatenate([np.empty((0, 2)), *ink.stamped]) / mark.enlarge
    if mark.kind == "area":
        edge_mm = mark.symbol.mm("edge_mm") if mark.symbol.has("edge_mm") else 0.0
        body = shape.buffer(edge_mm / 2) if edge_mm else shape
        return Printed(mark.symbol, mark.kind, shape, body, body, dots)
    whole = drawn[0] if len(drawn) == 1 else shapely.union_all(drawn)
    has_parts = mark.kind == "line" and mark.symbol.has("line_mm")
    body = shape.buffer(mark.symbol.mm("line_mm") / 2, cap_style="flat") if has_parts else whole
    return Printed(mark.symbol, mark.kind, shape, body, whole, dots)


def _at_base_scale(shape: BaseGeometry, enlarge: float) -> BaseGeometry:
    """A shape in the norm's own millimetres."""
    return shape if enlarge == 1 else shapely.transform(shape, lambda points: points / enlarge)
