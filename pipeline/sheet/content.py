"""What the map shows: the features of the draft on the map's millimetres, drawn into plates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.norm.paper import enlargement
from pipeline.norm.symbols import KIND_OF_GEOMETRY, Kind, SymbolTable
from pipeline.sheet.interval import steep_percent
from pipeline.sheet.legend import legend_order
from pipeline.sheet.page.ink import Geometries, Ink
from pipeline.sheet.page.page import Frame
from pipeline.sheet.symbols.cliff_foot import clear_of_cliffs
from pipeline.sheet.symbols.edge import clear_of_edge
from pipeline.sheet.symbols.labels import INDEX_CONTOUR, Labels, contour_labels
from pipeline.sheet.symbols.marks import Marks
from pipeline.sheet.symbols.smallest import at_least_smallest
from pipeline.sheet.symbols.symbol import draw_marks

LABEL_SHORTEST_CONTOUR_MM = 40.0
"""Shortest index contour that gets its elevation, at 1:15 000 (ours: short rings are hill tops)."""
LABEL_DISTANCE_MM = 60.0
"""Least distance between two elevations, at 1:15 000; the norm (102) asks for few."""

VERTEX_TOLERANCE_MM = 0.01
"""Vertices that change a line by less than this on paper are left out: a tenth of the thinnest line."""
MOST_CHANGED = 0.01
"""Share of an area that leaving out such vertices may change, where it is done without care (our choice)."""
FOREST = "405"
WHITE_SHARE = 0.01
"""Share of the area left white from which the legend explains forest."""
BARE_ROCK = "214"
CONTOURS = ("101", INDEX_CONTOUR)
NOT_PRINTED = ("rejected", "candidate")
"""Statuses of features that stay off the paper: a mapper has struck it out, or has yet to look whether it is there."""
AREA = 2
"""Dimension of an area."""


@dataclass(frozen=True)
class Content:
    """The drawn map.

    Attributes
    ----------
    ink : Ink
        Its plates, in millimetres of the map.
    labels : Labels
        Elevations of index contours.
    outline : the mapped area in millimetres of the map
    shown : symbols of the legend with the kind of geometry, in its order
    steep_percent : share of the area too steep for the contour interval, in percent
    """

    ink: Ink
    labels: Labels
    outline: Polygon | MultiPolygon
    shown: tuple[tuple[str, Kind], ...]
    steep_percent: int = 0


def draw_content(
    layers: Sequence[gpd.GeoDataFrame],
    outline: Polygon | MultiPolygon,
    frame: Frame,
    /,
    *,
    symbols: SymbolTable,
    contour_interval_m: float,
) -> Content:
    """Everything inside the frame of the map.

    Raises
    ------
    KeyError
        If a feature has a symbol the table does not know.
    ValueError
        If a symbol is not drawn with the geometry a feature has.
    """
    outline_mm = on_map(np.array([outline], object), frame)[0]
    marks = marks_on_paper(layers, frame, outline_mm, symbols=symbols)
    labels = _labels_of(marks, frame)
    ink = Ink()
    for mark in off_bare_rock(marks):
        draw_marks(ink, _interrupted(mark, labels) if mark.symbol.number == INDEX_CONTOUR else mark)
    contours = [mark.geometry for mark in marks if mark.symbol.number in CONTOURS]
    steep = steep_percent(
        np.concatenate([np.empty(0, object), *contours]),
        outline_mm,
        scale=frame.scale,
        interval_m=contour_interval_m,
    )
    return Content(ink, labels, outline_mm, _shown(marks, outline_mm), steep)


def marks_on_paper(
    layers: Sequence[gpd.GeoDataFrame],
    frame: Frame,
    outline_mm: Polygon | MultiPolygon,
    /,
    *,
    symbols: SymbolTable,
) -> list[Marks]:
    """The features that are printed, where they are printed, in the order of printing."""
    marks = marks_of([printed(table) for table in layers], frame, symbols)
    return clear_of_edge(clear_of_cliffs(at_least_smallest(marks)), outline_mm)


def marks_of(layers: Sequence[gpd.GeoDataFrame], frame: Frame, symbols: SymbolTable, /) -> list[Marks]:
    """Features gathered by symbol and kind of geometry, in the order of printing."""
    tables = [_simple_table(table, frame) for table in layers if len(table)]
    if not tables:
        return []
    everything = pd.concat(tables, ignore_index=True)
    marks = []
    enlarge = enlargement(frame.scale)
    for number, kind in sorted(set(zip(everything["symbol"], everything["kind"], strict=True))):
        part = everything[(everything["symbol"] == number) & (everything["kind"] == kind)]
        geometry = np.asarray(part["geometry"].to_numpy(), object)
        turn, elevation = (part[column].to_numpy(np.float64) for column in ("angle_deg", "elevation_m"))
        marks.append(Marks(symbols[number], kind, geometry, turn, elevation, enlarge, frame.anchor_mm))
    return sorted(marks, key=lambda mark: (mark.symbol.order, legend_order(mark.symbol.number), mark.kind))


def printed(table: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """The features of a layer that go on paper: neither rejected nor a mere candidate, and somewhere."""
    kept = ~(table.geometry.is_empty | table.geometry.isna())
    if "status" in table:
        kept &= ~table["status"].isin(NOT_PRINTED)
    return table[kept]


def _simple_table(table: gpd.GeoDataFrame, frame: Frame) -> pd.DataFrame:
    """What drawing needs of a layer, one row a single geometry."""
    geometry, owner = _single_parts(on_map(table.geometry.to_numpy(), frame))
    unknown = np.full(len(table), np.nan)
    columns = {
        column: (table[column].to_numpy(np.float64) if column in table else unknown)[owner]
        for column in ("angle_deg", "elevation_m")
    }
    kinds = [KIND_OF_GEOMETRY[part.geom_type] for part in geometry]
    return pd.DataFrame({"symbol": table["symbol"].to_numpy()[owner], "kind": kinds, "geometry": geometry, **columns})


def _single_parts(geometry: Geometries) -> tuple[Geometries, NDArray[np.int64]]:
    """Single geometries and whose part each is; areas that cross themselves, as edits leave them, are mended."""
    whole = geometry.copy()
    crosses = ~shapely.is_valid(geometry)
    # By rings and not by single lines, which takes six times as long (measured) and gives other areas only where rings
    # lie over each other.
    whole[crosses] = shapely.make_valid(geometry[crosses], method="structure")
    parts, owner = shapely.get_parts(whole, return_index=True)
    kept = shapely.get_dimensions(parts) == shapely.get_dimensions(geometry)[owner]
    return parts[kept], owner[kept]


def on_map(geometry: NDArray[np.object_], frame: Frame, /) -> Geometries:
    """Geometries in millimetres of the map, without vertices nobody can see."""
    to_map = frame.map_from_ground
    turn = np.array([[to_map.a, to_map.d], [to_map.b, to_map.e]])
    moved = shapely.transform(geometry, lambda points: points @ turn + (to_map.c, to_map.f))
    return simplified(moved)


def simplified(geometry: Geometries, /) -> Geometries:
    """Geometries in millimetres without vertices that change them by less than VERTEX_TOLERANCE_MM."""
    simple: Geometries = shapely.simplify(geometry, VERTEX_TOLERANCE_MM, preserve_topology=False)
    # This takes a third of the time of the careful way, which is taken where it would lose an area or a loop of it, as
    # with slivers, and for lines, of which a short ring could close up.
    before, after = shapely.area(geometry), shapely.area(simple)
    careful = (np.abs(after - before) > MOST_CHANGED * before) | (shapely.get_dimensions(geometry) < AREA)
    simple[careful] = shapely.simplify(geometry[careful], VERTEX_TOLERANCE_MM)
    return simple


def _shown(marks: Sequence[Marks], outline: Polygon | MultiPolygon) -> tuple[tuple[str, Kind], ...]:
    """Symbols of the legend in the order of their numbers; forest where some paper is left white."""
    shown = {(mark.symbol.number, mark.kind) for mark in marks}
    filled = [mark for mark in marks if mark.kind == "area" and mark.symbol.section in ("vegetation", "water")]
    if sum(shapely.area(mark.geometry).sum() for mark in filled) < (1 - WHITE_SHARE) * outline.area:
        shown.add((FOREST, "area"))
    return tuple(sorted(shown, key=lambda entry: (legend_order(entry[0]), entry[1])))


def off_bare_rock(marks: Sequence[Marks], /) -> list[Marks]:
    """The marks, vegetation cut out where bare rock is printed: its grey over yellow would be the brown of paving.

    Only on paper. The draft keeps open land below, for when the rock turns out to be none.
    """
    rock = [mark.geometry for mark in marks if mark.symbol.number == BARE_ROCK and mark.kind == "area"]
    if not rock:
        return list(marks)
    cover = shapely.union_all(np.concatenate(rock))
    is_below = [mark.symbol.section == "vegetation" and mark.kind == "area" for mark in marks]
    return [_cut(mark, cover) if below else mark for mark, below in zip(marks, is_below, strict=True)]


def _cut(mark: Marks, cover: BaseGeometry) -> Marks:
    """The areas of a mark outside a cover."""
    parts, owner = shapely.get_parts(shapely.difference(mark.geometry, cover), return_index=True)
    kept = shapely.get_dimensions(parts) == AREA
    parts, owner = parts[kept], owner[kept]
    return replace(mark, geometry=parts, turn_deg=mark.turn_deg[owner], elevation_m=mark.elevation_m[owner])


# ---------------------------------------------------------------- labels


def _labels_of(marks: Sequence[Marks], frame: Frame) -> Labels:
    """Elevations for the index contours, clear of all other lines and points."""
    index = [mark for mark in marks if mark.symbol.number == INDEX_CONTOUR]
    others = [mark.geometry for mark in marks if mark.kind != "area" and mark.symbol.number != INDEX_CONTOUR]
    nothing = np.empty(0, object)
    return contour_labels(
        index[0].geometry if index else nothing,
        index[0].elevation_m if index else np.empty(0),
        np.concatenate([nothing, *others]),
        enlarge=enlargement(frame.scale),
        shortest_line_mm=LABEL_SHORTEST_CONTOUR_MM,
        distance_mm=LABEL_DISTANCE_MM,
    )


def _interrupted(mark: Marks, labels: Labels) -> Marks:
    """The index contours without the stretches where their elevation is written."""
    if not len(labels.boxes):
        return mark
    left = shapely.get_parts(shapely.difference(mark.geometry, shapely.union_all(labels.boxes)))
    nothing = np.full(len(left), np.nan)
    return Marks(mark.symbol, mark.kind, left, nothing, nothing, mark.enlarge, mark.anchor_mm)
