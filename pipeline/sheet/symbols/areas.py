"""How area symbols are drawn: a surface, a pattern of lines or dots, an edge.

Lines and grids of dots are laid out from the origin of the CRS along magnetic north, scattered dots from a tile of
points that repeats; so a pattern stays where it is whatever else is on the map.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from pipeline.sheet.page.colours import PLATES, Plate, tint
from pipeline.sheet.page.ink import CIRCLE, Geometries, Ink, Places, polyline
from pipeline.sheet.symbols.lines import LINE_DRAWINGS
from pipeline.sheet.symbols.marks import Marks, segments

SCATTER_TILE = 16
"""Side of the repeating tile of scattered points, in least spacings."""
SCATTER_SEED = 2017
SCATTER_STEPS = 2000
EVENNESS = 0.84
"""Least distance of scattered points over that of a triangular lattice as dense (ours; 1 would be the lattice)."""
STONE = polyline([(-0.5, -0.42), (0.5, -0.5), (0.12, 0.5)], closed=True)
"""Triangle of boulder fields; its sides are about as 8 : 6 : 5 when twice as long as wide (ISOM 2017-2, 208)."""


def _fill(ink: Ink, marks: Marks, /) -> None:
    _surface(ink, marks)
    _edge(ink, marks)


def _surface(ink: Ink, marks: Marks) -> None:
    symbol = marks.symbol
    if symbol.fill:
        percent = symbol.mm("fill_pct")
        ink.fill(PLATES[symbol.fill], tint(symbol.fill, percent), marks.geometry)


def _edge(ink: Ink, marks: Marks) -> None:
    if marks.symbol.edge:
        colour = marks.symbol.edge
        ink.stroke(PLATES[colour], tint(colour), marks.geometry, line_mm=marks.mm("edge_mm"))


def _mark_ink(marks: Marks) -> tuple[Plate, tuple[float, float, float, float]]:
    """Plate and colour of a pattern; white and green dots on yellow have a plate of their own."""
    colour, _, percent = marks.symbol.ink.partition(" ")
    on_yellow = colour == "white" or bool(percent)
    return Plate.DOTS_IN_YELLOW if on_yellow else PLATES[colour], tint(colour, float(percent or 100))


# ---------------------------------------------------------------- lines


def _steps(low: float, high: float, spacing_mm: float, anchor_mm: float) -> NDArray[np.float64]:
    """Places from low to high that are whole steps from the origin of the CRS."""
    first = np.ceil((low + anchor_mm) / spacing_mm)
    last = np.floor((high + anchor_mm) / spacing_mm)
    return np.arange(first, last + 1) * spacing_mm - anchor_mm


def _parallel(marks: Marks, *, upright: bool) -> Geometries:
    """Lines across the bounds of the areas, one step apart."""
    west, south, east, north = shapely.total_bounds(marks.geometry)
    spacing = marks.mm("spacing_mm")
    if upright:
        at = _steps(west, east, spacing, marks.anchor_mm[0])
        ends = [np.column_stack([at, np.full_like(at, side)]) for side in (south, north)]
    else:
        at = _steps(south, north, spacing, marks.anchor_mm[1])
        ends = [np.column_stack([np.full_like(at, side), at]) for side in (west, east)]
    return segments(*ends)


def _is_narrow(marks: Marks, *, upright: bool) -> NDArray[np.bool_]:
    """Whether fewer than two lines of the pattern meet an area: a line alone reads as a line of its own, not an area.

    Of green ones along the north lines that is worst.
    """
    spacing = marks.mm("spacing_mm")
    west, south, east, north = shapely.bounds(marks.geometry).T
    low, high, anchor = (west, east, marks.anchor_mm[0]) if upright else (south, north, marks.anchor_mm[1])
    return np.asarray(np.floor((high + anchor) / spacing) - np.ceil((low + anchor) / spacing) < 1)


def _pairs(marks: Marks, *, upright: bool) -> Geometries:
    """Two lines through every area, about its middle: a step apart, or half its width where it is narrower."""
    west, south, east, north = shapely.bounds(marks.geometry).T
    low, high = (west, east) if upright else (south, north)
    middle, apart = (low + high) / 2, np.minimum(marks.mm("spacing_mm"), (high - low) / 2)
    lines = []
    for at in (middle - apart / 2, middle + apart / 2):
        ends = [
            np.column_stack([at, side] if upright else [side, at])
            for side in ((south, north) if upright else (west, east))
        ]
        lines.append(segments(*ends))
    return np.concatenate(lines)


def _broken(marks: Marks, *, upright: bool) -> Geometries:
    """Dashes on such lines, every second line shifted by half a step."""
    west, south, east, north = shapely.total_bounds(marks.geometry)
    dash, period = marks.mm("dash_mm"), marks.mm("dash_mm") + marks.mm("gap_mm")
    across = (west, east, 0) if upright else (south, north, 1)
    along = (south - period, north, 1) if upright else (west - period, east, 0)
    rows = _steps(across[0], across[1], marks.mm("spacing_mm"), marks.anchor_mm[across[2]])
    parity = np.round((rows + marks.anchor_mm[across[2]]) / marks.mm("spacing_mm")) % 2
    starts = _steps(along[0] - period, along[1], period, marks.anchor_mm[along[2]])
    row, start = np.meshgrid(rows, starts, indexing="ij")
    start = start + (parity * period / 2)[:, None]
    ends = [(row, start), (row, start + dash)]
    pairs = [np.column_stack([a.ravel(), b.ravel()] if upright else [b.ravel(), a.ravel()]) for a, b in ends]
    return segments(*pairs)


def _lined(*, upright: bool, broken: bool) -> Callable[[Ink, Marks], None]:
    def draw(ink: Ink, marks: Marks) -> None:
        _surface(ink, marks)
        plate, colour = _mark_ink(marks)
        is_narrow = np.zeros(len(marks.geometry), bool) if broken else _is_narrow(marks, upright=upright)
        for chosen, lines_of in ((~is_narrow, _broken if broken else _parallel), (is_narrow, _pairs)):
            if chosen.any():
                part = replace(marks, geometry=marks.geometry[chosen])
                lines = lines_of(part, upright=upright)
                ink.hatch(plate, colour, part.geometry, lines, line_mm=marks.mm("line_mm"))
        _edge(ink, marks)

    return draw


# ---------------------------------------------------------------- dots


def _inside(places: Places, areas: Geometries, *, keep_off_mm: float) -> Places:
    """The places that lie inside an area, this far from its edge."""
    shrunk = shapely.buffer(shapely.union_all(areas), -keep_off_mm)
    shapely.prepare(shrunk)
    return places[shapely.contains_xy(shrunk, places)]


def _gridded_dots(ink: Ink, marks: Marks, /) -> None:
    """Dots on a square grid turned by 45 degrees."""
    _surface(ink, marks)
    west, south, east, north = shapely.total_bounds(marks.geometry)
    step = marks.mm("spacing_mm") / np.sqrt(2)
    columns = _steps(west, east, step, marks.anchor_mm[0])
    rows = _steps(south, north, step, marks.anchor_mm[1])
    right, up = (axis.ravel() for axis in np.meshgrid(columns, rows))
    count = np.round((right + marks.anchor_mm[0]) / step) + np.round((up + marks.anchor_mm[1]) / step)
    places = np.column_stack([right, up])[count % 2 == 0]
    dot = marks.mm("dot_mm")
    plate, colour = _mark_ink(marks)
    places = _inside(places, marks.geometry, keep_off_mm=dot / 4)
    ink.stamp(plate, colour, CIRCLE, places, size_mm=(dot, dot))
    _edge(ink, marks)


@functools.cache
def scattered_tile(crowding: float, /) -> Places:
    """Points without order in a tile that repeats, no two nearer than 1, `crowding` of them to a unit square.

    Points thrown at random are pushed apart until all keep their distance: at least 1, or more where there is room,
    for a pattern without holes. The closest order there is, a triangular lattice, holds 1.15 to a unit square; points
    at EVENNESS of its distance fill the tile without falling into rows. The seed is fixed, so every sheet has the
    same tile.
    """
    random = np.random.default_rng(SCATTER_SEED)
    side = float(SCATTER_TILE)
    keep = max(1.0, EVENNESS * np.sqrt(2 / np.sqrt(3) / crowding))
    points = random.uniform(0, side, (round(crowding * side**2), 2))
    for _ in range(SCATTER_STEPS):
        pairs = cKDTree(points, boxsize=np.full(2, side)).query_pairs(keep, output_type="ndarray")
        if not len(pairs):
            break
        apart = points[pairs[:, 0]] - points[pairs[:, 1]]
        apart -= side * np.round(apart / side)
        distance = np.maximum(np.hypot(*apart.T), 1e-6)[:, None]
        # A little further than needed, or the last pairs creep towards their distance without reaching it.
        push = apart / distance * (1.01 * keep - distance) / 2
        np.add.at(points, pairs[:, 0], push)
        np.add.at(points, pairs[:, 1], -push)
        points %= side
    return points


def _scattered(marks: Marks, *, keep_off_mm: float) -> Places:
    """Scattered places in the areas, and at least the least number of the norm in each."""
    spacing = marks.mm("spacing_mm")
    density = marks.symbol.mm("density_per_mm2") / marks.enlarge**2
    tile, side = scattered_tile(round(density * spacing**2, 3)) * spacing, SCATTER_TILE * spacing
    west, south, east, north = shapely.total_bounds(marks.geometry)
    columns = _steps(west - side, east, side, marks.anchor_mm[0])
    rows = _steps(south - side, north, side, marks.anchor_mm[1])
    corners = np.stack(np.meshgrid(columns, rows), -1).reshape(-1, 1, 2)
    places = _inside((corners + tile).reshape(-1, 2), marks.geometry, keep_off_mm=keep_off_mm)
    return _enough(marks, places, keep_off_mm=keep_off_mm)


def _enough(marks: Marks, places: Places, *, keep_off_mm: float) -> Places:
    """The places, and in areas that have less than the least number of marks as many others in their stead."""
    least = round(marks.symbol.mm("min_count"))
    tree = shapely.STRtree(np.asarray(shapely.points(places), object))
    area, place = tree.query(marks.geometry, predicate="contains")
    few = np.flatnonzero(np.bincount(area, minlength=len(marks.geometry)) < least)
    gone = place[np.isin(area, few)]
    spread = [_spread(marks.geometry[one], least, keep_off_mm=keep_off_mm) for one in few.tolist()]
    return np.concatenate([np.delete(places, gone, axis=0), *spread])


SPREAD_STEPS = 24
"""Steps in which the longer side of a small area is divided to find places far from each other (our choice)."""


def _spread(area: BaseGeometry, n: int, *, keep_off_mm: float) -> Places:
    """Places in an area as far from each other as there is room, each the farthest from those before it."""
    inner = shapely.buffer(area, -keep_off_mm)
    room = area if inner.is_empty else inner
    west, south, east, north = room.bounds
    step = max(east - west, north - south) / SPREAD_STEPS
    right, up = (axis.ravel() for axis in np.meshgrid(np.arange(west, east, step), np.arange(south, north, step)))
    rim = shapely.get_coordinates(shapely.segmentize(room, step))
    places = np.concatenate([rim, np.column_stack([right, up])[shapely.contains_xy(room, right, up)]])
    middle = shapely.get_coordinates(shapely.centroid(room))
    chosen = places[[int(np.argmax(np.hypot(*(places - middle).T)))]]
    while len(chosen) < n:
        apart = np.hypot(*(places[:, None, :] - chosen[None, :, :]).transpose(2, 0, 1)).min(axis=1)
        chosen = np.concatenate([chosen, places[[int(np.argmax(apart))]]])
    return chosen


def _scattered_dots(ink: Ink, marks: Marks, /) -> None:
    _surface(ink, marks)
    dot = marks.mm("dot_mm")
    plate, colour = _mark_ink(marks)
    ink.stamp(plate, colour, CIRCLE, _scattered(marks, keep_off_mm=dot / 2), size_mm=(dot, dot))


def _scattered_triangles(ink: Ink, marks: Marks, /) -> None:
    """Triangles turned every way; the turn follows from the place in the repeating tile, so that it repeats too."""
    size = (marks.mm("length_mm"), marks.mm("width_mm"))
    places = _scattered(marks, keep_off_mm=size[1] / 4)
    fixed = np.round((places + marks.anchor_mm) % (SCATTER_TILE * marks.mm("spacing_mm")), 2)
    turn = (fixed @ np.array([137.507764, 222.492236]) * 1000) % 360
    plate, colour = _mark_ink(marks)
    ink.stamp(plate, colour, STONE, places, size_mm=size, turn_deg=turn)


def _ruin(ink: Ink, marks: Marks, /) -> None:
    """A broken outline."""
    outlines = shapely.get_rings(marks.geometry)
    ends = [(marks.mm("dash_mm"), marks.mm("gap_mm"))] * len(outlines)
    ink.stroke(
        PLATES[marks.symbol.edge], tint(marks.symbol.edge), outlines, line_mm=marks.mm("edge_mm"), dashes_mm=ends
    )


AREA_DRAWINGS: dict[str, Callable[[Ink, Marks], None]] = {
    "fill": _fill,
    "road": LINE_DRAWINGS["road"],
    "ruin": _ruin,
    "north_south_lines": _lined(upright=True, broken=False),
    "north_south_dashes": _lined(upright=True, broken=True),
    "east_west_lines": _lined(upright=False, broken=False),
    "east_west_dashes": _lined(upright=False, broken=True),
    "gridded_dots": _gridded_dots,
    "scattered_dots": _scattered_dots,
    "scattered_triangles": _scattered_triangles,
}
