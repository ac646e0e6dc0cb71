"""The legend: a drawn sample and the standard's name of every symbol on the sheet."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LineString, Point, box
from shapely.geometry.base import BaseGeometry

from pipeline.norm.symbols import Kind, isom
from pipeline.sheet.page.page import Box

SAMPLE_MM = 10.0
"""Width of a sample: two dashes of a footpath at 1:10 000 are 6.4 mm."""
SAMPLE_HEIGHT_MM = 4.0
CONTOUR, SLOPE_LINE = "101", "101.1"


def legend_order(number: str, /) -> tuple[int, int]:
    """Sorts symbols by number and sub-number, the sheet edge last."""
    main, _, sub = number.partition(".")
    return (999 if main == "600" else int(main)), int(sub or 0)


def sample(kind: Kind, place: Box, /, *, number: str) -> BaseGeometry:
    """A geometry that shows a symbol in a box of the page."""
    middle = (place.left + place.width / 2, place.bottom + place.height / 2)
    if kind == "point":
        return Point(middle)
    if kind == "area":
        return box(place.left + 0.5, place.bottom + 0.3, place.right - 0.5, place.top - 0.3)
    if number == "601":
        return LineString([(middle[0], place.bottom), (middle[0], place.top)])
    if number in ("101", "102", "103"):
        return _arch(place)
    return LineString([(place.left + 0.3, middle[1]), (place.right - 0.3, middle[1])])


def samples(number: str, kind: Kind, place: Box, /, *, enlarge: float) -> list[tuple[str, BaseGeometry]]:
    """Symbols of a sample with their geometries: the symbol alone, but a slope line on the contour it belongs to."""
    if number != SLOPE_LINE:
        return [(number, sample(kind, place, number=number))]
    contour = _arch(place)
    top = contour.interpolate(0.5, normalized=True)
    line = LineString([(top.x, top.y), (top.x, top.y - isom(SLOPE_LINE).mm("length_mm") * enlarge)])
    return [(CONTOUR, contour), (number, line)]


def _arch(place: Box) -> LineString:
    """A gentle arch, as a contour bends."""
    share = np.linspace(0, 1, 25)
    right = place.left + 0.3 + share * (place.width - 0.6)
    up = place.bottom + place.height * (0.35 + 0.35 * np.sin(np.pi * share))
    return LineString(shapely.get_coordinates(shapely.linestrings(right, up)))
