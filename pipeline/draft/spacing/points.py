"""Point symbols moved a little, where they would touch another symbol of their colour or the edge of the map."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.draft.spacing.extent import colour_of, gap_m, half_line_m, line_ink, point_ink
from pipeline.norm.symbols import SymbolTable

FARTHEST_M = {"brown": 3.0, "black": 2.6, "blue": 4.0, "green": 4.0}
"""Farthest a symbol is moved on the ground, in metres (our choice): less than a quarter of a millimetre of map, which
nobody who runs by compass notices (the norm lets neighbours be off by 5 %, 5 m in 100 m)."""
RINGS, WAYS = 8, 16
"""Distances and directions that are tried (our choice)."""
BENDING = ("101", "102", "103")
"""Lines that bend around a point, so that a point need not keep off them by itself."""
ON_PAPER_ONLY = ("201", "202")
"""Lines that the sheet moves boulders off, on paper alone (`pipeline.sheet.symbols.cliff_foot`)."""
SLACK_M = 0.1
"""What is kept beyond the least gap: curves are drawn in straight steps, coordinates are rounded (our choice)."""


@dataclass(frozen=True)
class Moves:
    """What becomes of the points of a draft.

    Attributes
    ----------
    geometry : (n,) geometries of all features, points where they shall stand
    moved_m : (n,) float64, how far each was moved
    no_room : (n,) bool, points that found no room beside others or inside the edge
    """

    geometry: NDArray[np.object_]
    moved_m: NDArray[np.float64]
    no_room: NDArray[np.bool_]


@dataclass(frozen=True)
class Around:
    """What lies about a point: what it must keep off, and lines that can bend.

    Attributes
    ----------
    firm : shapes with the distance to keep from each
    bending : lines with the distance to keep from each
    inside : the mapped area
    """

    firm: list[tuple[BaseGeometry, float]]
    bending: list[tuple[BaseGeometry, float]]
    inside: BaseGeometry

    def shortage_m(self, shapes: NDArray[np.object_], /) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(n,) metres that each shape is too near to firm things, the edge included, and to lines that bend."""
        firm, bending = (
            sum((np.maximum(keep - shapely.distance(shapes, one), 0) for one, keep in things), np.zeros(len(shapes)))
            for things in (self.firm, self.bending)
        )
        return firm + np.where(shapely.covers(self.inside, shapes), 0.0, 1.0), bending


def keep_apart(
    features: gpd.GeoDataFrame,
    outline: Polygon | MultiPolygon,
    symbols: SymbolTable,
    /,
    *,
    north_deg: float,
) -> Moves:
    """Points moved as little as gives each its gap to the symbols of its colour; the surer ones first.

    A point that finds a place beside all but contours goes where least of them must bend.
    """
    geometry = features.geometry.to_numpy().copy()
    number = features["symbol"].to_numpy(str)
    sure = features["confidence"].to_numpy(np.float64)
    turn = features["angle_deg"].to_numpy(np.float64)
    moved_m, no_room = np.zeros(len(features)), np.zeros(len(features), np.bool_)
    is_point = shapely.get_dimensions(geometry) == 0
    for colour in FARTHEST_M:
        of_colour = np.array([colour_of(symbols[text]) == colour for text in number], bool)
        lines = Lines.of(geometry, number, of_colour & (shapely.get_dimensions(geometry) == 1), symbols)
        placed = Placed()
        points = np.flatnonzero(of_colour & is_point)
        for row in points[np.lexsort((number[points], -sure[points]))]:
            symbol = symbols[number[row]]
            ink = point_ink(symbol, north_deg=north_deg, angle_deg=turn[row])
            place = shapely.get_coordinates(geometry[row])[0]
            near = lines.near(place, ink, gap_m(symbol))
            around = near.with_firm(placed.near(place, gap_m(symbol)), outline)
            step, found = _least_move(ink, place, around, farthest_m=FARTHEST_M[colour])
            no_room[row] = not found
            if found:
                moved_m[row] = float(np.hypot(*step))
                geometry[row] = shapely.Point(place + step) if moved_m[row] else geometry[row]
                placed.add(affinity.translate(ink, *(place + step)), gap_m(symbol))
    return Moves(geometry, moved_m, no_room)


def _least_move(
    ink: BaseGeometry, place: NDArray[np.float64], around: Around, *, farthest_m: float
) -> tuple[NDArray[np.float64], bool]:
    """The smallest step to a place with room, and whether there is one."""
    here = np.array([affinity.translate(ink, *place)], np.object_)
    firm, bending = around.shortage_m(here)
    if firm[0] + bending[0] == 0:
        return np.zeros(2), True
    steps = steps_to_try(farthest_m)
    n = shapely.get_num_coordinates(ink)
    shapes = shapely.transform(
        np.full(len(steps), ink, np.object_), lambda corners: corners + np.repeat(place + steps, n, axis=0)
    )
    firm, bending = around.shortage_m(shapes)
    if not (firm == 0).any():
        return np.zeros(2), False
    # A metre of bending of a contour counts as much as four metres that the point moves: contours bend little.
    cost = np.where(firm == 0, np.hypot(*steps.T) + 4 * bending, np.inf)
    return steps[int(np.argmin(cost))], True


def steps_to_try(farthest_m: float, /) -> NDArray[np.float64]:
    """(n, 2) steps, the smallest first: none at all, then rings of `WAYS` directions."""
    angle = np.arange(WAYS) * 2 * np.pi / WAYS
    reach = farthest_m * np.arange(1, RINGS + 1) / RINGS
    steps = (reach[:, None, None] * np.stack((np.sin(angle), np.cos(angle)), -1)).reshape(-1, 2)
    return np.concatenate((np.zeros((1, 2)), steps))


@dataclass(frozen=True)
class Nearby:
    """Lines near a point, by whether they bend."""

    firm: list[tuple[BaseGeometry, float]]
    bending: list[tuple[BaseGeometry, float]]

    def with_firm(self, others: list[tuple[BaseGeometry, float]], outline: Polygon | MultiPolygon, /) -> Around:
        """The lines and what else the point keeps off."""
        return Around([*self.firm, *others], self.bending, outline)


@dataclass(frozen=True)
class Lines:
    """Lines of one colour, to be asked what lies near."""

    shapes: NDArray[np.object_]
    numbers: NDArray[np.str_]
    tree: shapely.STRtree
    symbols: SymbolTable

    @classmethod
    def of(
        cls,
        geometry: NDArray[np.object_],
        number: NDArray[np.str_],
        which: NDArray[np.bool_],
        symbols: SymbolTable,
        /,
    ) -> Lines:
        """The lines that have a gap to be kept, without those the sheet sees to."""
        kept = [
            row
            for row in np.flatnonzero(which).tolist()
            if symbols[number[row]].has("min_gap_mm") and number[row].partition(".")[0] not in ON_PAPER_ONLY
        ]
        shapes = np.array([geometry[row] for row in kept], np.object_)
        return cls(shapes, number[kept], shapely.STRtree(shapes), symbols)

    def near(self, place: NDArray[np.float64], ink: BaseGeometry, own_gap_m: float, /) -> Nearby:
        """What of the lines a point may come near to, with the distance to keep from each."""
        reach_m = max(FARTHEST_M.values()) + max(abs(side) for side in ink.bounds) * 1.5 + own_gap_m + 12.0
        window = shapely.box(*(place - reach_m), *(place + reach_m))
        found = Nearby([], [])
        for row in np.sort(self.tree.query(window)).tolist():
            symbol = self.symbols[self.numbers[row]]
            part = shapely.intersection(self.shapes[row], window)
            if part.is_empty:
                continue
            asked_m = min(own_gap_m, gap_m(symbol)) + SLACK_M
            if self.numbers[row] in BENDING:
                found.bending.append((part, asked_m + half_line_m(symbol)))
            else:
                found.firm.append((line_ink(symbol, part), asked_m))
        return found


NEAR_M = 40.0
"""Points farther from each other have nothing to do with each other: more than two symbols and their steps need (our
choice)."""
CELL_M = 50.0
"""Side of the squares by which points are looked up (our choice)."""


class Placed:
    """Points that stand already, by the squares that they lie in."""

    def __init__(self) -> None:
        self.shapes: list[BaseGeometry] = []
        self.gaps_m: list[float] = []
        self.cells: defaultdict[tuple[int, int], list[int]] = defaultdict(list)

    def add(self, shape: BaseGeometry, own_gap_m: float, /) -> None:
        """One more."""
        for cell in _cells(*shape.bounds):
            self.cells[cell].append(len(self.shapes))
        self.shapes.append(shape)
        self.gaps_m.append(own_gap_m)

    def near(self, place: NDArray[np.float64], own_gap_m: float, /) -> list[tuple[BaseGeometry, float]]:
        """Those within `NEAR_M`, with the distance to keep from each."""
        window = _cells(*(place - NEAR_M), *(place + NEAR_M))
        rows = sorted({row for cell in window for row in self.cells.get(cell, ())})
        far_m = shapely.distance(np.array([self.shapes[row] for row in rows], np.object_), shapely.Point(place))
        near = np.array(rows, np.int64)[far_m < NEAR_M].tolist()
        return [(self.shapes[row], min(own_gap_m, self.gaps_m[row]) + SLACK_M) for row in near]


def _cells(west: float, south: float, east: float, north: float) -> list[tuple[int, int]]:
    """The squares that a rectangle reaches into."""
    columns = range(int(west // CELL_M), int(east // CELL_M) + 1)
    rows = range(int(south // CELL_M), int(north // CELL_M) + 1)
    return [(column, row) for column in columns for row in rows]
