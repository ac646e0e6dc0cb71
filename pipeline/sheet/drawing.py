"""The field sheet: the layers of a draft, drawn to the symbol table.

Nothing about the ground is decided here: features are moved to the page and drawn as the table says.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
from affine import Affine
from shapely.geometry import MultiPolygon, Polygon

from pipeline.norm.symbols import SymbolTable
from pipeline.settings import SheetSettings
from pipeline.sheet import texts
from pipeline.sheet.around import draw_caption, draw_index, draw_part_frames
from pipeline.sheet.content import Content, draw_content
from pipeline.sheet.interval import STEEP_PERCENT
from pipeline.sheet.marginalia import Item, Place, draw_foot, draw_panel, draw_title, panel_items
from pipeline.sheet.on_page import crs_name, draw_map, georeference, place_of, rim_of
from pipeline.sheet.page.north import MagneticNorth, north_of_area, technical_lines
from pipeline.sheet.page.page import (
    COLUMN_MM,
    GAP_MM,
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
from pipeline.sheet.page.pdf import Book, Plates
from pipeline.sheet.page.position import STEPS_M
from pipeline.sheet.texts import ENGLISH, MapText, Told
from pipeline.words.language import Language

INDEX_MM = 20.0
"""Side of the room for the index of the sheets in the foot of each."""

NOTHING_TOLD = Told()


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
    told: Told = NOTHING_TOLD,
    language: Language = ENGLISH,
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
    told : days of flight and of the draft, and what the survey cannot show
    language : of the legend and the texts; `survey_line` is taken as it is

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
    content = draw_content(tables, outline, frame, symbols=symbols, contour_interval_m=contour_interval_m)
    text = MapText(
        name,
        scale,
        contour_interval_m,
        map_date,
        survey_line,
        north,
        told,
        content.steep_percent,
        STEEP_PERCENT,
        language,
    )
    title = language.say(texts.PDF_TITLE, name=name, scale=language.scale(scale))
    book = Book(title=title, subject=survey_line, author=language.say(texts.AUTHOR), made=told.drafted)
    sheets = _Pages(book, content, frame, text, crs).written(symbols, settings)
    return SheetDrawing(book.finished(), tuple(sheets), frame, north, tuple(number for number, _ in content.shown))


# ---------------------------------------------------------------- pages


@dataclass(frozen=True)
class _Pages:
    """The pages of one sheet: a single one, or an overview and as many as the map needs."""

    book: Book
    content: Content
    frame: Frame
    text: MapText
    crs: str

    def written(self, symbols: SymbolTable, settings: SheetSettings) -> list[Sheet]:
        """Write them, the one that shows the whole area first."""
        frame = self.frame

        def items(scale: float, place: Place) -> list[Item]:
            shown = self.content.shown
            return panel_items(self.text, shown=shown, symbols=symbols, width_mm=COLUMN_MM, scale=scale, place=place)

        # The longest words there may be: where the corners lie is known when the page is laid out.
        heights = [item.height_mm for item in items(frame.scale, Place(crs_name(self.crs), STEPS_M[-1]))]
        single = single_sheet(frame, heights, settings=settings)
        parts = [] if single else part_sheets(frame, self.content.outline, settings=settings)
        first = single or overview_sheet(frame, heights, settings=settings)
        plates = self.book.add_plates("map", self.content.ink, rim_of(frame))
        panel = items(frame.scale / first.magnify, place_of(first, frame, self.crs))
        self._first(plates, first, parts, panel, heights)
        for number in range(1, len(parts) + 1):
            self._part(plates, parts, number)
        return [first, *parts]

    def _first(self, plates: Plates, first: Sheet, parts: list[Sheet], panel: list[Item], heights: list[float]) -> None:
        """The page with the legend: the whole map, once more enlarged where there is room, or an overview."""
        book, scale = self.book, self.frame.scale / first.magnify
        book.begin_page(first.width_mm, first.height_mm)
        draw_title(book, self.text, first.title, part=texts.sheet_part(0, len(parts), self.text.language), scale=scale)
        draw_map(book, plates, self.content, self.frame, first)
        legend = draw_panel(book, first, panel, flow(heights, lowest_height(heights, len(first.columns))))
        book.place(book.add_plates("legend", legend, Box(0, 0, first.width_mm, first.height_mm)), Affine.identity())
        draw_part_frames(book, first, parts)
        if first.enlarged:
            draw_map(book, plates, self.content, self.frame, first.enlargement)
            draw_caption(book, first.enlarged, self.text.language, scale=scale / first.factor)
        shown = [first, first.enlargement] if first.enlarged else [first]
        book.end_page(*(georeference(sheet, self.frame, self.crs) for sheet in shown))

    def _part(self, plates: Plates, parts: list[Sheet], number: int) -> None:
        """A numbered sheet at the map's scale."""
        book, part = self.book, parts[number - 1]
        book.begin_page(part.width_mm, part.height_mm)
        words = texts.sheet_part(number, len(parts), self.text.language)
        draw_title(book, self.text, part.title, part=words, scale=self.frame.scale)
        draw_map(book, plates, self.content, self.frame, part)
        foot = part.columns[0]
        beside = Box(foot.left, foot.bottom, foot.width - INDEX_MM - GAP_MM, foot.height)
        draw_foot(book, self.text, beside, place_of(part, self.frame, self.crs), legend=texts.LEGEND_ON_FIRST)
        draw_index(book, parts, number, Box(foot.right - INDEX_MM, foot.bottom + 2, INDEX_MM, foot.height - 4))
        book.end_page(georeference(part, self.frame, self.crs))
