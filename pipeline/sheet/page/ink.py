"""Paths as PDF operators, collected plate by plate.

Everything is in millimetres of the map; a page places the finished plates with one transformation, so that a map is
written once however many pages show it (ISO 32000-1, 8.5 and 8.10: path operators and form XObjects).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.sheet.page.colours import Cmyk, Plate

Geometries = NDArray[np.object_]
"""(n,) shapely geometries in millimetres of the map."""
Places = NDArray[np.float64]
"""(n, 2) float64, millimetres of the map: to the right, up."""
BEZIER_CIRCLE = 0.5522847498
"""Control point of a quarter circle of radius 1 as a cubic curve: 4/3 (sqrt 2 - 1)."""
BUTT, ROUND = 0, 1
"""Line ends of the PDF: cut off, rounded."""


@dataclass(frozen=True)
class Shape:
    """An outline of unit size: operators of its steps and the points they take, (k, 2)."""

    steps: str
    points: Places


def _turn(angle_deg: float | NDArray[np.float64]) -> NDArray[np.float64]:
    """Matrix (.., 2, 2) that turns row vectors counter-clockwise."""
    angle = np.radians(np.asarray(angle_deg, np.float64))
    rows = [np.stack([np.cos(angle), np.sin(angle)], -1), np.stack([-np.sin(angle), np.cos(angle)], -1)]
    return np.stack(rows, -2)


def polyline(points: Sequence[tuple[float, float]], /, *, closed: bool = False) -> Shape:
    """A shape of straight steps."""
    return Shape("m" + "l" * (len(points) - 1) + ("h" if closed else ""), np.array(points, np.float64))


def arc(quarters: int, /, *, start_deg: float = 0.0) -> Shape:
    """Quarter circles of radius 0.5, counter-clockwise from `start_deg` (0 is to the right)."""
    k = BEZIER_CIRCLE
    quarter = np.array([(1.0, k), (k, 1.0), (0.0, 1.0)])
    points = [np.array([(1.0, 0.0)])]
    points += [quarter @ _turn(90.0 * i) for i in range(quarters)]
    return Shape("m" + "c" * quarters + ("h" if quarters == 4 else ""), 0.5 * np.concatenate(points) @ _turn(start_deg))


def joined(*shapes: Shape) -> Shape:
    """Several shapes drawn as one."""
    return Shape("".join(shape.steps for shape in shapes), np.concatenate([shape.points for shape in shapes]))


CIRCLE = arc(4)


@dataclass
class Ink:
    """The operators of every plate, in the order they were drawn."""

    plates: dict[Plate, list[str]] = field(default_factory=lambda: defaultdict(list))

    def fill(self, plate: Plate, colour: Cmyk, areas: Geometries, /) -> None:
        """Fill areas; holes stay open, overlaps stay filled."""
        if len(areas):
            self.plates[plate] += [f"{_cmyk(colour)} k\n", area_path(areas), "f\n"]

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
        """Draw lines (or the outlines of areas), each with its own dashes if given."""
        if not len(lines):
            return
        head = f"{_cmyk(colour)} K {line_mm:.3f} w {cap} J 1 j\n"
        if dashes_mm is None:
            is_area = shapely.get_dimensions(lines) == 2
            self.plates[plate] += [head, area_path(lines[is_area]), line_path(lines[~is_area]), "S\n"]
            return
        self.plates[plate].append(head)
        for line, dash in zip(lines, dashes_mm, strict=True):
            pattern = " ".join(f"{part:.4f}" for part in dash)
            self.plates[plate] += [f"[{pattern}] 0 d\n", line_path(np.array([line], object)), "S\n"]
        self.plates[plate].append("[] 0 d\n")

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
        """Put a shape at every place: filled, or drawn with a line; turned clockwise by `turn_deg`."""
        if not len(places):
            return
        points = np.broadcast_to(shape.points * size_mm, (len(places), *shape.points.shape))
        if turn_deg is not None:
            points = points @ _turn(-np.asarray(turn_deg, np.float64))
        path = _shape_path(shape.steps, points + places[:, None, :])
        if line_mm is None:
            self.plates[plate] += [f"{_cmyk(colour)} k\n", path, "f\n"]
        else:
            self.plates[plate] += [f"{_cmyk(colour)} K {line_mm:.3f} w 0 J 0 j\n", path, "S\n"]

    def hatch(
        self,
        plate: Plate,
        colour: Cmyk,
        areas: Geometries,
        lines: Geometries,
        /,
        *,
        line_mm: float,
    ) -> None:
        """Draw lines where they lie inside the areas."""
        if not (len(areas) and len(lines)):
            return
        self.plates[plate] += ["q\n", area_path(areas), "W n\n"]
        self.stroke(plate, colour, lines, line_mm=line_mm)
        self.plates[plate].append("Q\n")

    def text_of(self, plate: Plate, /) -> str:
        """All operators of a plate."""
        return "".join(self.plates.get(plate, ()))


def line_path(lines: Geometries, /) -> str:
    """Path operators of lines; a line that ends where it began is closed."""
    parts = shapely.get_parts(lines) if len(lines) else lines
    parts = parts[~shapely.is_empty(parts)] if len(parts) else parts
    if not len(parts):
        return ""
    closed = shapely.is_ring(parts)
    return _path(parts, closed)


def area_path(areas: Geometries, /) -> str:
    """Path operators of areas: shells one way round, holes the other."""
    parts = shapely.get_parts(areas) if len(areas) else areas
    parts = parts[~shapely.is_empty(parts)] if len(parts) else parts
    if not len(parts):
        return ""
    rings = shapely.get_rings(shapely.orient_polygons(parts))
    return _path(rings, np.ones(len(rings), bool))


def _path(lines: Geometries, closed: NDArray[np.bool_]) -> str:
    """Move to the first point of each line, on to the others, and back where closed."""
    points, index = shapely.get_coordinates(lines, return_index=True)
    is_first = np.r_[True, index[1:] != index[:-1]]
    is_last = np.r_[is_first[1:], True]
    # A closed line ends with `h`, which draws the last stretch itself and joins it properly.
    steps = np.where(is_first, "m", np.where(is_last & closed[index], "h", "l"))
    forms = {"m": "%.3f %.3f m\n", "l": "%.3f %.3f l\n", "h": "h\n"}
    text = "".join([forms[step] for step in steps.tolist()])
    return text % tuple(points[steps != "h"].ravel().tolist())


def _shape_path(steps: str, points: NDArray[np.float64]) -> str:
    forms = {"m": "%.3f %.3f m\n", "l": "%.3f %.3f l\n", "c": "%.3f %.3f %.3f %.3f %.3f %.3f c\n", "h": "h\n"}
    one = "".join([forms[step] for step in steps])
    return (one * len(points)) % tuple(points.ravel().tolist())


def _cmyk(colour: Cmyk) -> str:
    return " ".join(f"{part:.4g}" for part in colour)
