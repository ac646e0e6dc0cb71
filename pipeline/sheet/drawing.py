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
from shapely.geometry import MultiPolygon, Polygon

from pipeline.norm.symbols import SymbolTable
from pipeline.settings import SheetSettings
from pipeline.sheet.content import Content, draw_content
from pipeline.sheet.marginalia import Item, MapText, draw_foot, draw_panel, draw_title, panel_items
from pipeline.sheet.page.colours import tint
from pipeline.sheet.page.ink import area_path
from pipeline.sheet.page.letters import BOLD
from pipeline.sheet.page.north import MagneticNorth, north_of_area, technical_lines
from pipeline.sheet.page.page import (
    COLUMN_MM,
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
from pipeline.sheet.page.pdf import CAP_HEIGHT_MM_PER_PT, Book, Georeference, Plates

RIM_MM = 1.0
"""What is kept around the map, for symbols that reach over its bounds."""
EDGE_MM = 0.25
"""What is shown beyond the outline, so that the line of the edge is drawn in full."""


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
        (what is `rejected` or a `candidate` is left out). North lines and sheet edge come from `technical_line`;
        where that layer is missing they are made from the outline.
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
    tables = list(layers.values())
    if not len(layers.get("technical_line", ())):
        tables.append(technical_lines(outline, crs=crs, map_date=map_date))
    content = draw_content(tables, outline, frame, symbols=symbols)
    text = MapText(name, scale, contour_interval_m, map_date, survey_line, north)
    book = Book(title=f"{name}, draft at 1:{scale}", subject=survey_line)
    sheets = _pages(book, content, frame, text, crs=crs, symbols=symbols, settings=settings)
    return SheetDrawing(book.finished(), tuple(sheets), frame, north, tuple(number for number, _ in content.shown))


# ---------------------------------------------------------------- pages


def _pages(
    book: Book,
    content: Content,
    frame: Frame,
    text: MapText,
    /,
    *,
    crs: str,
    symbols: SymbolTable,
    settings: SheetSettings,
) -> list[Sheet]:
    """Write one page, or an overview and as many pages as the map needs."""

    def items(scale: float) -> list[Item]:
        return panel_items(text, shown=content.shown, symbols=symbols, width_mm=COLUMN_MM, scale=scale)

    heights = [item.height_mm for item in items(frame.scale)]
    single = single_sheet(frame, heights, settings=settings)
    parts = [] if single else part_sheets(frame, content.outline, settings=settings)
    first = single or overview_sheet(frame, heights, settings=settings)
    shown_scale = frame.scale / first.magnify
    rim = Box(-RIM_MM, -RIM_MM, frame.width_mm + 2 * RIM_MM, frame.height_mm + 2 * RIM_MM)
    plates = book.add_plates("map", content.ink, rim)

    book.begin_page(first.width_mm, first.height_mm)
    _draw_map(book, plates, content, first)
    draw_title(book, text, first.title, part=f"{len(parts)} sheets" if parts else "", scale=shown_scale)
    legend = draw_panel(book, first, items(shown_scale), flow(heights, lowest_height(heights, len(first.columns))))
    book.place(book.add_plates("legend", legend, Box(0, 0, first.width_mm, first.height_mm)), Affine.identity())
    _draw_part_frames(book, first, parts)
    book.end_page(_georeference(first, frame, crs))

    for number, part in enumerate(parts, 1):
        book.begin_page(part.width_mm, part.height_mm)
        _draw_map(book, plates, content, part)
        draw_title(book, text, part.title, part=f"sheet {number} of {len(parts)}", scale=frame.scale)
        draw_foot(book, text, part.columns[0])
        book.end_page(_georeference(part, frame, crs))
    return [first, *parts]


def _draw_map(book: Book, plates: Plates, content: Content, sheet: Sheet) -> None:
    """The part of the map a page shows, clipped to the area; half of the edge's line stays."""
    window = shapely.box(*_shown_part(sheet)).buffer(RIM_MM, join_style="mitre")
    inside = shapely.intersection(window, shapely.buffer(content.outline, EDGE_MM))
    book.place(plates, sheet.page_from_map, clip=area_path(np.array([inside], object)))
    labels = content.labels
    size_pt = labels.height_mm * sheet.magnify / CAP_HEIGHT_MM_PER_PT
    for words, place, turn in zip(labels.words, labels.places.tolist(), labels.turn_deg.tolist(), strict=True):
        if shapely.contains_xy(inside, *place):
            right, up = sheet.page_from_map @ tuple(place)
            book.turned_text(right, up, words, size_pt=size_pt, turn_deg=turn, colour=tint("brown"))


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
    """West, south, east and north of the map a page shows, millimetres of the map."""
    left, bottom = part.map_corner_mm
    return left, bottom, left + part.window.width / part.magnify, bottom + part.window.height / part.magnify


def _draw_part_frames(book: Book, first: Sheet, parts: Sequence[Sheet]) -> None:
    """Frames and numbers of the sheets on the overview."""
    for number, part in enumerate(parts, 1):
        left, bottom, right, top = _shown_part(part)
        corner = first.page_from_map @ (left, bottom)
        box = Box(*corner, (right - left) * first.magnify, (top - bottom) * first.magnify)
        book.box(box, line_mm=0.3, colour=tint("purple"))
        book.text(box.left + 1.5, box.top - 5, str(number), size_pt=12, face=BOLD, colour=tint("purple"))
