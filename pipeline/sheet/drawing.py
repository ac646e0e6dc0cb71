"""The field sheet: the layers of a draft, drawn to the symbol table.

Nothing about the ground is decided here: features are moved to the page and drawn as the table says.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pyproj
import shapely
from affine import Affine
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from pipeline.draft.symbols import BASE_SCALE, KIND_OF_GEOMETRY, Kind, SymbolTable
from pipeline.settings import SheetSettings
from pipeline.sheet.colours import tint
from pipeline.sheet.ink import Ink, area_path
from pipeline.sheet.legend import legend_order
from pipeline.sheet.marginalia import Item, MapText, draw_foot, draw_panel, draw_title, panel_items
from pipeline.sheet.marks import Marks
from pipeline.sheet.north import MagneticNorth, north_of_area, technical_lines
from pipeline.sheet.page import (
    Box,
    Frame,
    Sheet,
    flow,
    frame_of,
    lowest_height,
    overview_sheet,
    part_sheets,
    single_sheet,
)
from pipeline.sheet.pdf import BOLD, Book, Georeference
from pipeline.sheet.symbol import draw_marks

VERTEX_TOLERANCE_MM = 0.01
"""Vertices that change a line by less than this on paper are left out: a tenth of the thinnest line."""
FOREST = "405"
REJECTED = "rejected"


@dataclass(frozen=True)
class SheetDrawing:
    """A finished field sheet.

    The first page always shows the whole area: at its scale where it fits on one page, else as an overview, with the
    sheets at scale on the pages that follow.

    Attributes
    ----------
    pdf : bytes
    sheets : tuple of Sheet, one a page
    frame : Frame
        How ground becomes millimetres of the map.
    north : MagneticNorth
    symbols : tuple of str
        Numbers of the symbols in the legend.
    """

    pdf: bytes
    sheets: tuple[Sheet, ...]
    frame: Frame
    north: MagneticNorth
    symbols: tuple[str, ...]

    def page_from_ground(self, page: int = 0) -> Affine:
        """(east, north) in the CRS -> millimetres from the lower left corner of a page."""
        affine: Affine = self.sheets[page].page_from_map @ self.frame.map_from_ground
        return affine


def draw_sheet(
    layers: Mapping[str, gpd.GeoDataFrame],
    /,
    *,
    symbols: SymbolTable,
    name: str,
    outline: Polygon | MultiPolygon,
    crs: str,
    scale: int,
    contour_interval_m: float,
    map_date: datetime.date,
    survey_line: str,
    settings: SheetSettings,
) -> SheetDrawing:
    """The field sheet of a draft as a PDF to scale, magnetic north up.

    Parameters
    ----------
    layers : the layers of the draft by name
        Columns used: geometry, `symbol`, and where present `angle_deg` (clockwise from magnetic north) and `status`
        (what is `rejected` is left out). North lines and sheet edge come from `technical_line`; where that layer is
        missing they are made from the outline.
    outline : the area, in the working CRS
    survey_line : what the draft was made from, one sentence

    Raises
    ------
    KeyError
        If a feature has a symbol the table does not know.
    ValueError
        If the place or date lies outside the magnetic model, or the panel does not fit on the largest paper.
    """
    north = north_of_area(outline, crs=crs, date=map_date)
    frame = frame_of(outline, north=north, scale=scale)
    features = _features(layers)
    if not len(layers.get("technical_line", ())):
        features.append(technical_lines(outline, crs=crs, map_date=map_date))
    marks = _marks_of(features, frame, symbols)
    text = MapText(name, scale, contour_interval_m, map_date, survey_line, north)
    shown = _shown(marks, outline, layers)
    outline_mm = _to_map(np.array([outline], object), frame)[0]
    ink = Ink()
    for kind, mark in marks:
        draw_marks(ink, mark, kind)
    book = Book(title=f"{name}, draft at 1:{scale}", subject=survey_line)
    sheets = _pages(book, ink, frame, outline_mm, text, crs=crs, shown=shown, symbols=symbols, settings=settings)
    return SheetDrawing(book.finished(), tuple(sheets), frame, north, tuple(number for number, _ in shown))


def _features(layers: Mapping[str, gpd.GeoDataFrame]) -> list[gpd.GeoDataFrame]:
    """The layers that have something to draw, without what the mapper rejected."""
    found = []
    for table in layers.values():
        kept = table[table["status"] != REJECTED] if "status" in table else table
        if len(kept):
            found.append(kept)
    return found


def _marks_of(features: Sequence[gpd.GeoDataFrame], frame: Frame, symbols: SymbolTable) -> list[tuple[Kind, Marks]]:
    """Features on the map's millimetres, gathered by symbol, in the order of printing."""
    gathered: dict[tuple[str, Kind], list[tuple[NDArray[np.object_], NDArray[np.float64]]]] = {}
    for table in features:
        geometry = _to_map(np.asarray(table.geometry.array, object), frame)
        turn = table["angle_deg"].to_numpy(np.float64) if "angle_deg" in table else np.full(len(table), np.nan)
        geometry, owner = shapely.get_parts(geometry, return_index=True)
        numbers = table["symbol"].to_numpy(object)[owner]
        kinds = np.array([KIND_OF_GEOMETRY[part.geom_type] for part in geometry], object)
        for number in dict.fromkeys(numbers):
            for kind in dict.fromkeys(kinds[numbers == number]):
                these = (numbers == number) & (kinds == kind)
                gathered.setdefault((number, kind), []).append((geometry[these], turn[owner][these]))
    found = []
    for (number, kind), pieces in gathered.items():
        geometry, turn = (np.concatenate(column) for column in zip(*pieces, strict=True))
        found.append((kind, Marks(symbols[number], geometry, turn, BASE_SCALE / frame.scale, frame.anchor_mm)))
    return sorted(found, key=lambda entry: (entry[1].symbol.order, legend_order(entry[1].symbol.number), entry[0]))


def _to_map(geometry: NDArray[np.object_], frame: Frame) -> NDArray[np.object_]:
    """Geometries in millimetres of the map, without vertices nobody can see."""
    to_map = frame.map_from_ground
    turn = np.array([[to_map.a, to_map.d], [to_map.b, to_map.e]])
    moved = shapely.transform(geometry, lambda points: points @ turn + (to_map.c, to_map.f))
    simple: NDArray[np.object_] = shapely.simplify(moved, VERTEX_TOLERANCE_MM)
    return simple


def _shown(
    marks: Sequence[tuple[Kind, Marks]], outline: Polygon | MultiPolygon, layers: Mapping[str, gpd.GeoDataFrame]
) -> list[tuple[str, Kind]]:
    """Symbols of the legend in the order of their numbers; forest where some paper is left white."""
    shown = {(mark.symbol.number, kind) for kind, mark in marks}
    covered = sum(table.area.sum() for name, table in layers.items() if name in ("vegetation_area", "water_area"))
    if covered < 0.99 * outline.area:
        shown.add((FOREST, "area"))
    return sorted(shown, key=lambda entry: (legend_order(entry[0]), entry[1]))


# ---------------------------------------------------------------- pages


def _pages(
    book: Book,
    ink: Ink,
    frame: Frame,
    outline_mm: Polygon | MultiPolygon,
    text: MapText,
    /,
    *,
    crs: str,
    shown: Sequence[tuple[str, Kind]],
    symbols: SymbolTable,
    settings: SheetSettings,
) -> list[Sheet]:
    """Write one page, or an overview and as many pages as the map needs."""
    rim = 1.0
    plates = book.add_plates("map", ink, Box(-rim, -rim, frame.width_mm + 2 * rim, frame.height_mm + 2 * rim))
    clip = area_path(np.array([shapely.buffer(outline_mm, rim / 4)], object))

    def items(scale: float) -> list[Item]:
        return panel_items(text, shown=shown, symbols=symbols, width_mm=settings.column_mm, scale=scale)

    heights = [item.height_mm for item in items(frame.scale)]
    first = single_sheet(frame, heights, settings=settings)
    parts = [] if first else part_sheets(frame, outline_mm, settings=settings)
    first = first or overview_sheet(frame, heights, settings=settings)
    shown_scale = frame.scale / first.magnify
    book.begin_page(first.width_mm, first.height_mm)
    book.place(plates, first.page_from_map, clip=clip)
    draw_title(book, text, first.title, part=f"{len(parts)} sheets" if parts else "", scale=shown_scale)
    columns = flow(heights, max(lowest_height(heights, len(first.columns)), 0))
    legend = draw_panel(book, first, items(shown_scale), columns)
    book.place(book.add_plates("legend", legend, Box(0, 0, first.width_mm, first.height_mm)), Affine.identity())
    _draw_part_frames(book, first, parts)
    book.end_page(_georeference(first, frame, crs))
    for number, part in enumerate(parts, 1):
        book.begin_page(part.width_mm, part.height_mm)
        window = shapely.box(*_shown_part(part))
        inside = shapely.intersection(window, shapely.buffer(outline_mm, rim / 4))
        book.place(plates, part.page_from_map, clip=area_path(np.array([inside], object)))
        draw_title(book, text, part.title, part=f"sheet {number} of {len(parts)}", scale=frame.scale)
        draw_foot(book, text, part.columns[0])
        book.end_page(_georeference(part, frame, crs))
    return [first, *parts]


def _georeference(sheet: Sheet, frame: Frame, crs: str) -> Georeference:
    """The corners of a page's map in latitude and longitude."""
    projected = pyproj.CRS.from_user_input(crs)
    to_ground = ~(sheet.page_from_map @ frame.map_from_ground)
    window = sheet.window
    left, right, bottom, top = window.left, window.right, window.bottom, window.top
    corners = ((left, bottom), (left, top), (right, top), (right, bottom))
    unproject = pyproj.Transformer.from_crs(projected, projected.geodetic_crs, always_xy=True)
    places = [unproject.transform(*(to_ground @ corner)) for corner in corners]
    return Georeference(
        window,
        tuple((latitude, longitude) for longitude, latitude in places),
        projected.to_wkt("WKT1_GDAL"),
        projected.to_epsg(),
    )


def _shown_part(part: Sheet) -> tuple[float, float, float, float]:
    left, bottom = part.map_corner_mm
    return left, bottom, left + part.window.width, bottom + part.window.height


def _draw_part_frames(book: Book, first: Sheet, parts: Sequence[Sheet]) -> None:
    """Frames and numbers of the sheets on the overview."""
    for number, part in enumerate(parts, 1):
        left, bottom, right, top = _shown_part(part)
        corner = first.page_from_map @ (left, bottom)
        box = Box(*corner, (right - left) * first.magnify, (top - bottom) * first.magnify)
        book.box(box, line_mm=0.3, colour=tint("purple"))
        book.text(box.left + 1.5, box.top - 5, str(number), size_pt=12, face=BOLD, colour=tint("purple"))
