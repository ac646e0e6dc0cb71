"""The fieldwork sheet: the map enlarged and pale over the shaded relief, to be drawn on in the forest.

It shows what the field sheet leaves out: candidates, how sure the draft is, and numbered places to look at.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from affine import Affine
from numpy.typing import NDArray
from PIL import Image
from shapely.geometry import MultiPolygon, Polygon

from pipeline.norm.symbols import SymbolTable
from pipeline.settings import SheetSettings
from pipeline.sheet import texts
from pipeline.sheet.around import draw_caption, draw_index, shown_part
from pipeline.sheet.beside import Room, Written, squares_about
from pipeline.sheet.content import Content, draw_content
from pipeline.sheet.doubts import SURE, Figures, draw_candidates, figures_of, points_of
from pipeline.sheet.interval import STEEP_PERCENT
from pipeline.sheet.marginalia import Item, draw_foot, draw_panel, draw_title, heading, note
from pipeline.sheet.on_page import clip_of, draw_map, georeference, place_of, rim_of
from pipeline.sheet.page.colours import Cmyk, Plate, tint
from pipeline.sheet.page.ink import Places
from pipeline.sheet.page.letters import BOLD, PLAIN, text_width_mm
from pipeline.sheet.page.north import north_of_area, technical_lines
from pipeline.sheet.page.page import GAP_MM, Box, Frame, Sheet, enlarged_sheet, flow, frame_of, part_sheets
from pipeline.sheet.page.pdf import CAP_HEIGHT_MM_PER_PT, Book, Plates
from pipeline.sheet.texts import MapText, Told
from pipeline.words.language import Language

SCALE = 5000
"""Scale of fieldwork, whatever the map's: a boulder's place can be marked to 2 m (common practice, no source)."""
PAPER = "A4"
"""What a board to write on holds, where the area file names no paper (our choice)."""
PALE = {
    Plate.YELLOW: 0.45,
    Plate.DOTS_IN_YELLOW: 0.6,
    Plate.GREEN: 0.45,
    Plate.RIDES: 0.45,
    Plate.BLUE: 0.6,
    Plate.BROWN: 0.6,
    Plate.BLACK: 0.6,
}
"""How strong each plate is printed, 0 to 1, so that pencil and relief show (our choice)."""
RELIEF_STRENGTH = 0.45
"""How dark the deepest shade of the relief is, 0 to 1 (our choice)."""
FIGURES_PT, CHECK_PT = 5.0, 7.0
SYMBOL_MM = 0.9
"""Half the side of what a point symbol covers at 1:5 000, which figures and numbers keep off: a large boulder's."""
RING_MM, RING_LINE_MM = 2.2, 0.35
"""Radius and line of the ring of a place to look at; it is wider than any point symbol at 1:5 000 (our choice)."""
SMALL_RING_MM = 0.9
"""Radius of the ring where the ring of a better place stands near, and on a small map that stands on the page a second
time, enlarged (our choice)."""
POINTER_MM = 0.12
"""Line from a place to words that stand off it."""
TOLD_MM = 1.0
"""A feature this near to a place to look at, 5 m on the ground, has no figure of its own: the list tells of it."""
CHECK_COLOUR = tint("purple")
RULE_MM = 8.0
"""Distance of the lines to write on."""
INDEX_MM = 20.0


@dataclass(frozen=True)
class CheckPoint:
    """A place to look at.

    Attributes
    ----------
    number : as written beside it
    look_at, why : in words
    east_m, north_m : in the working CRS
    """

    number: int
    look_at: str
    why: str
    east_m: float
    north_m: float


@dataclass(frozen=True)
class Relief:
    """The shaded relief.

    Attributes
    ----------
    shade : (rows, cols) uint8, 255 in full light, 0 where unknown
    transform : (column, row) to (east, north)
    """

    shade: NDArray[np.uint8]
    transform: Affine


@dataclass(frozen=True)
class Fieldwork:
    """A finished fieldwork sheet: the file, its pages with a map, and how ground becomes millimetres of the map."""

    pdf: bytes
    sheets: tuple[Sheet, ...]
    frame: Frame


@dataclass(frozen=True)
class SheetWords:
    """What a sheet for the forest says of itself.

    Attributes
    ----------
    kind, title : of sheet, beside the name of the area and as the title of the file
    keys : how to read it, a text each
    nothing : where there is no place to look at
    before_number : letters before the number of a place, as the list has them
    """

    kind: str
    title: str
    keys: tuple[str, ...]
    nothing: str
    before_number: str = ""


FIELDWORK_WORDS = SheetWords(
    texts.FIELDWORK,
    texts.FIELDWORK_TITLE,
    (texts.CANDIDATE_KEY, texts.DOUBT_KEY, texts.CHECK_KEY, texts.RELIEF_KEY),
    texts.NO_CHECK_POINTS,
)
CHANGES_WORDS = SheetWords(
    texts.CHANGES,
    texts.CHANGES_TITLE,
    (texts.CHANGE_KEY, texts.CHECK_KEY, texts.RELIEF_KEY),
    texts.NO_CHANGES,
    "C",
)


def draw_fieldwork(
    layers: Mapping[str, gpd.GeoDataFrame],
    /,
    *,
    symbols: SymbolTable,
    name: str,
    outline: Polygon | MultiPolygon,
    crs: str,
    contour_interval_m: float,
    map_date: datetime.date,
    survey_line: str,
    settings: SheetSettings,
    told: Told,
    language: Language,
    relief: Relief | None = None,
    check_points: Sequence[CheckPoint] = (),
    patches: Sequence[Polygon] | None = None,
) -> Fieldwork:
    """The fieldwork sheet of a draft as a PDF at 1:5 000: pages of map, then places to look at and room for notes.

    With patches it is the sheet of changes of a refresh, and says so. Candidates and figures of doubt, which are on the
    fieldwork sheet of the draft, are left out, so that the rims of what changed and the places of its list stand out.

    Parameters
    ----------
    layers, outline, survey_line, told, language : as for `pipeline.sheet.drawing.draw_sheet`
        Of the layers `confidence` is used as well, and of `status` what is `candidate`.
    patches : ground that changed since an earlier survey or map, whose rim is drawn; None for a draft alone

    Raises
    ------
    KeyError
        If a feature has a symbol the table does not know.
    ValueError
        If the place or date lies outside the magnetic model.
    """
    north = north_of_area(outline, crs=crs, date=map_date)
    frame = frame_of(outline, north=north, scale=SCALE)
    tables = list(layers.values())
    if not len(layers.get("technical_line", ())):
        tables.append(technical_lines(outline, crs=crs, map_date=map_date))
    content = draw_content(tables, outline, frame, symbols=symbols, contour_interval_m=contour_interval_m)
    steep = content.steep_percent, STEEP_PERCENT
    text = MapText(name, SCALE, contour_interval_m, map_date, survey_line, north, told, *steep, language)
    words = FIELDWORK_WORDS if patches is None else CHANGES_WORDS
    title = language.say(words.title, name=name, scale=language.scale(SCALE))
    book = Book(title=title, subject=survey_line, author=language.say(texts.AUTHOR), made=told.drafted)
    plates = book.add_plates("map", content.ink, rim_of(frame))
    told_of = tables if patches is None else []
    doubts = book.add_plates("candidates", draw_candidates(told_of, frame, symbols=symbols), rim_of(frame))
    figures, points = figures_of(told_of, frame, symbols=symbols), points_of(tables, frame)
    pages = _Pages(book, content, frame, text, crs, plates, doubts, figures, points, patches or (), words)
    paper = settings.model_copy(update={"paper": PAPER}) if settings.paper == "auto" else settings
    small = enlarged_sheet(frame, settings=paper)
    sheets = [small] if small else part_sheets(frame, content.outline, settings=paper)
    shade = _pale(relief) if relief else None
    for number in range(1, len(sheets) + 1):
        pages.write(sheets, number, shade, relief, check_points)
    _write_notes(book, text, sheets[0], check_points, words, margin_mm=settings.page_margin_mm)
    return Fieldwork(book.finished(), tuple(sheets), frame)


def _pale(relief: Relief) -> Image.Image:
    """The relief as light grey on white; white where it is unknown."""
    shade = 255 - (255 - relief.shade.astype(np.float32)) * RELIEF_STRENGTH
    return Image.fromarray(np.where(relief.shade == 0, 255, shade).astype(np.uint8))


# ---------------------------------------------------------------- pages of map


@dataclass(frozen=True)
class _Pages:
    """What is drawn on every page of map."""

    book: Book
    content: Content
    frame: Frame
    text: MapText
    crs: str
    plates: Plates
    doubts: Plates
    figures: Figures
    points: Places
    patches: Sequence[Polygon]
    words: SheetWords

    def write(
        self,
        sheets: Sequence[Sheet],
        number: int,
        shade: Image.Image | None,
        relief: Relief | None,
        check_points: Sequence[CheckPoint],
    ) -> None:
        """One page of map; a small map stands on it a second time, enlarged, and only there with figures."""
        book, sheet = self.book, sheets[number - 1]
        several = len(sheets) > 1
        book.begin_page(sheet.width_mm, sheet.height_mm)
        language = self.text.language
        words = [language.say(self.words.kind), texts.sheet_part(number, len(sheets), language) if several else ""]
        draw_title(book, self.text, sheet.title, part="   ".join(filter(None, words)), scale=SCALE)
        shown = [sheet, sheet.enlargement] if sheet.enlarged else [sheet]
        for view in shown:
            self._draw_ground(view, shade, relief)
            self._draw_patches(view)
            room = self._room_on(view)
            is_last = view is shown[-1]
            self._draw_checks(view, check_points, room, largest_mm=RING_MM if is_last else SMALL_RING_MM)
            if is_last:
                self._draw_figures(view, check_points, room)
        if sheet.enlarged:
            draw_caption(book, sheet.enlarged, language, scale=SCALE / sheet.factor)
        foot, index = sheet.columns[0], INDEX_MM + GAP_MM if several else 0.0
        beside = Box(foot.left, foot.bottom, foot.width - index, foot.height)
        place = place_of(sheet, self.frame, self.crs)
        draw_foot(book, self.text, beside, place, legend=texts.LEGEND_ELSEWHERE)
        if several:
            draw_index(book, sheets, number, Box(foot.right - INDEX_MM, foot.bottom + 2, INDEX_MM, foot.height - 4))
        book.end_page(*(georeference(view, self.frame, self.crs) for view in shown))

    def _draw_ground(self, view: Sheet, shade: Image.Image | None, relief: Relief | None) -> None:
        """Relief, map and candidates."""
        clip = clip_of(self.content, view)
        if shade is not None and relief is not None:
            from_picture = view.page_from_map @ self.frame.map_from_ground @ relief.transform
            self.book.picture(shade, from_picture, clip=clip, page_from_clip=view.page_from_map)
        draw_map(self.book, self.plates, self.content, self.frame, view, opacity=PALE)
        self.book.place(self.doubts, view.page_from_map, clip=clip)

    def _draw_patches(self, view: Sheet) -> None:
        """The rims of patches, as far as the page shows them."""
        for patch in self.patches:
            for ring in (patch.exterior, *patch.interiors):
                on_map = np.array([self.frame.map_from_ground @ tuple(at[:2]) for at in ring.coords])
                is_shown, at = _is_shown(on_map, view), _on_page(on_map, view).tolist()
                for start in np.flatnonzero(is_shown[:-1] & is_shown[1:]).tolist():
                    ends = [(float(across), float(up)) for across, up in at[start : start + 2]]
                    self.book.line(ends[0], ends[1], line_mm=RING_LINE_MM, colour=CHECK_COLOUR)

    def _room_on(self, view: Sheet) -> Room:
        """Where words may stand: within the frame and off point symbols."""
        places = self.points[_is_shown(self.points, view)]
        return Room(view.window, squares_about(_on_page(places, view), SYMBOL_MM * view.magnify))

    def _draw_checks(self, view: Sheet, check_points: Sequence[CheckPoint], room: Room, *, largest_mm: float) -> None:
        """Rings and numbers of the places to look at; a ring is small where it would run into that of another place."""
        on_map = self._on_map(check_points)
        is_shown = _is_shown(on_map, view)
        points = [point for point, shown in zip(check_points, is_shown.tolist(), strict=True) if shown]
        places = _on_page(on_map[is_shown], view)
        rings_mm = _ring_sizes(places, largest_mm)
        for (right, up), ring_mm in zip(places.tolist(), rings_mm.tolist(), strict=True):
            self.book.ring((right, up), ring_mm, line_mm=RING_LINE_MM, colour=CHECK_COLOUR)
        room.symbols = np.concatenate([room.symbols, squares_about(places, rings_mm[:, None])])
        height = CHECK_PT * CAP_HEIGHT_MM_PER_PT
        for point, (right, up), ring_mm in zip(points, places.tolist(), rings_mm.tolist(), strict=True):
            words = f"{self.words.before_number}{point.number}"
            width = text_width_mm(words, size_pt=CHECK_PT, face=BOLD)
            self._write(
                room.put((right, up), width, height, clear_mm=ring_mm), words, CHECK_PT, face=BOLD, colour=CHECK_COLOUR
            )

    def _draw_figures(self, view: Sheet, check_points: Sequence[CheckPoint], room: Room) -> None:
        """Figures beside their features where there is room, the most undecided first; none where the list tells."""
        figures, height = self.figures, FIGURES_PT * CAP_HEIGHT_MM_PER_PT
        places = _on_page(figures.places, view)
        is_asked = _is_shown(figures.places, view) & ~_is_near(figures.places, self._on_map(check_points), TOLD_MM)
        rows = np.flatnonzero(is_asked)
        for row in rows[np.argsort(-figures.doubt[rows], kind="stable")].tolist():
            words = figures.words[row]
            place, width = (float(places[row, 0]), float(places[row, 1])), text_width_mm(words, size_pt=FIGURES_PT)
            written = room.put(place, width, height, clear_mm=SYMBOL_MM * view.magnify)
            self._write(written, words, FIGURES_PT, face=PLAIN, colour=figures.colours[row])

    def _write(self, written: Written | None, words: str, size_pt: float, *, face: str, colour: Cmyk) -> None:
        """Words where room was found for them, with the line to their place."""
        if written is None:
            return
        if written.line is not None:
            self.book.line(*written.line, line_mm=POINTER_MM, colour=colour)
        self.book.text(written.box.left, written.box.bottom, words, size_pt=size_pt, face=face, colour=colour)

    def _on_map(self, check_points: Sequence[CheckPoint]) -> Places:
        """(n, 2) millimetres of the map."""
        to_map = self.frame.map_from_ground
        return np.array([to_map @ (point.east_m, point.north_m) for point in check_points], np.float64).reshape(-1, 2)


def _on_page(places: Places, view: Sheet) -> Places:
    """(n, 2) millimetres of the page of places on the map."""
    to_page = view.page_from_map
    return np.array([to_page @ tuple(place) for place in places], np.float64).reshape(-1, 2)


def _is_shown(places: Places, view: Sheet) -> NDArray[np.bool_]:
    """(n,) bool: places on the map that a page shows."""
    west, south, east, north = shown_part(view)
    return np.asarray(((places > (west, south)) & (places < (east, north))).all(axis=1))


def _is_near(places: Places, others: Places, within_mm: float) -> NDArray[np.bool_]:
    """(n,) bool: places so near to some of the others."""
    apart = np.hypot(*(places[:, None, :] - others[None, :, :]).transpose(2, 0, 1))
    return np.asarray((apart < within_mm).any(axis=1))


def _ring_sizes(places: Places, largest_mm: float) -> NDArray[np.float64]:
    """(n,) radius of each ring: the largest where it touches the ring of no earlier place."""
    sizes = np.full(len(places), SMALL_RING_MM)
    for row in range(len(places)):
        apart = np.hypot(*(places[:row] - places[row]).T)
        if not (apart < sizes[:row] + largest_mm + RING_LINE_MM).any():
            sizes[row] = largest_mm
    return sizes


# ---------------------------------------------------------------- notes


def _write_notes(
    book: Book,
    text: MapText,
    like: Sheet,
    check_points: Sequence[CheckPoint],
    words: SheetWords,
    /,
    *,
    margin_mm: float,
) -> None:
    """Pages with how to read the sheet, the places to look at, and lines to write on to the end of the last page."""
    left, top = margin_mm, like.title.bottom - GAP_MM
    width = (like.width_mm - 2 * margin_mm - GAP_MM) / 2
    height = top - margin_mm
    columns = (Box(left, margin_mm, width, height), Box(left + width + GAP_MM, margin_mm, width, height))
    items = _note_items(check_points, words, width, text.language)
    filled = flow([item.height_mm for item in items], height)
    # At least one column to write in.
    filled += [[]] * (1 + (len(filled) + 1) % 2)
    for start in range(0, len(filled), 2):
        pair = filled[start : start + 2]
        page = Sheet(like.width_mm, like.height_mm, like.title, like.window, (0.0, 0.0), 1.0, columns)
        book.begin_page(page.width_mm, page.height_mm)
        draw_title(book, text, page.title, part=text.language.say(texts.NOTES), scale=SCALE)
        draw_panel(book, page, items, pair)
        for column, indices in zip(columns, pair, strict=True):
            used = sum(items[index].height_mm for index in indices)
            for up in np.arange(column.top - used - RULE_MM, column.bottom, -RULE_MM):
                book.line((column.left, up), (column.right, up), line_mm=0.1, colour=tint("black", 50))
        book.end_page()


def _note_items(
    check_points: Sequence[CheckPoint], words: SheetWords, width_mm: float, language: Language
) -> list[Item]:
    """What stands on the pages of notes before the lines."""
    say = language.say
    sure = language.number(100 * SURE, decimals=0)
    keys = [say(key, percent=sure) if key == texts.DOUBT_KEY else say(key) for key in words.keys]
    items = [heading(say(texts.HOW_TO_READ)), *(note(key, width_mm=width_mm) for key in keys)]
    items.append(heading(say(texts.CHECK_POINTS)))
    if not check_points:
        items.append(note(say(words.nothing), width_mm=width_mm))
    for point in check_points:
        place = f"{point.east_m:.0f} {point.north_m:.0f}"
        items.append(note(f"{words.before_number}{point.number}  {point.look_at}", width_mm=width_mm, face=BOLD))
        items.append(note(f"{point.why}. {place}", width_mm=width_mm))
    return items
