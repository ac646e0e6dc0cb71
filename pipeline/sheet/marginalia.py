"""What stands beside the map: title, scale bar, north, legend, cautions, dates, sources, a line for the fieldworker.

What is said there stands in `pipeline.sheet.texts`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.norm.paper import enlargement
from pipeline.norm.symbols import Kind, SymbolTable
from pipeline.sheet import texts
from pipeline.sheet.legend import SAMPLE_HEIGHT_MM, SAMPLE_MM, samples
from pipeline.sheet.page.colours import Plate, tint
from pipeline.sheet.page.ink import Ink
from pipeline.sheet.page.letters import BOLD, PLAIN, text_width_mm, wrapped
from pipeline.sheet.page.page import Box, Sheet
from pipeline.sheet.page.pdf import Book
from pipeline.sheet.page.position import Corner
from pipeline.sheet.symbols.marks import Marks
from pipeline.sheet.symbols.symbol import draw_marks
from pipeline.sheet.texts import MapText
from pipeline.words.language import Language

NAME_PT, NOTE_PT, FACTS_PT, TITLE_PT, STAMP_PT, SMALLEST_TITLE_PT = 7.0, 6.2, 8.5, 15.0, 14.0, 8.0
FOOT_PT = (NOTE_PT, 5.6, 5.0, 4.4)
"""Sizes of the words in the foot of a sheet, in points; the first at which they fit is taken (our choice)."""
LINE_SPACING = 1.28
"""Distance of base lines over the size of the type (common practice, no source)."""
MM_PER_PT = 25.4 / 72
WHITE_RIM_MM = 0.05
"""A hair line that shows where a white sample is."""
DRAFT_COLOUR = tint("purple")
BAR_LENGTHS_M = (50, 100, 200, 250, 500, 1000, 1500, 2000, 2500, 5000, 10000, 20000, 50000)
LONGEST_BAR_MM = 50.0
BAR_PARTS = 5


@dataclass(frozen=True)
class Item:
    """Something in the panel: its height, and how it is drawn into a box of that height."""

    height_mm: float
    draw: Callable[[Book, Ink, Box], None]


@dataclass(frozen=True)
class Place:
    """Where the frame of a page lies: its corners (none while the page is laid out), the CRS, the step of the ticks."""

    crs_name: str
    step_m: int
    corners: tuple[Corner, ...] = ()

    def lines(self, language: Language) -> list[str]:
        """The corners in metres and degrees, one a line, as many digits as a GPS shows."""
        return [
            f"{language.say(name)}  {corner.east_m:.0f} {corner.north_m:.0f}  "
            f"{corner.latitude_deg:.5f} {corner.longitude_deg:.5f}"
            for name, corner in zip(texts.CORNER_NAMES, self.corners, strict=False)
        ]

    def words(self, language: Language) -> str:
        """Which coordinates these are."""
        ticks = language.say(texts.GRID_TICKS, step_m=language.number(self.step_m))
        return f"{language.say(texts.CRS_AND_DEGREES, crs=self.crs_name)}. {ticks}"


def bar_length_m(scale: float, /) -> int:
    """Length of the scale bar on the ground: the longest round one that fits."""
    return max(
        length for length in BAR_LENGTHS_M if length == BAR_LENGTHS_M[0] or length * 1000 / scale <= LONGEST_BAR_MM
    )


def panel_items(
    text: MapText,
    /,
    *,
    shown: Sequence[tuple[str, Kind]],
    symbols: SymbolTable,
    width_mm: float,
    scale: float,
    place: Place,
) -> list[Item]:
    """The panel from top to bottom. `scale` is that of the map beside it, which an overview reduces."""
    language, say = text.language, text.language.say

    def notes(every: Sequence[str]) -> list[Item]:
        return [note(words, width_mm=width_mm) for words in every]

    legend = [legend_row(number, kind, text, symbols=symbols, width_mm=width_mm) for number, kind in shown]
    first, *more = texts.cautions(text)
    items = [scale_bar(scale, language), north_note(text, width_mm=width_mm)]
    items += headed(say(texts.LEGEND), legend)
    items += headed(say(texts.CAUTION), [note(first, width_mm=width_mm, face=BOLD), *notes(more)])
    items += headed(say(texts.DATES), notes(texts.dates(text)))
    items += headed(say(texts.SURVEY), notes(texts.sources(text)))
    items += headed(say(texts.CORNERS), [corner_table(place, language, width_mm=width_mm)])
    items.append(fieldworker_lines(width_mm, language))
    return items


def heading(words: str, /) -> Item:
    """A small heading with air above it."""

    def draw(book: Book, _ink: Ink, box: Box) -> None:
        book.text(box.left, box.bottom + 1.2, words, size_pt=NAME_PT + 0.5, face=BOLD)

    return Item(6.0, draw)


def headed(words: str, items: Sequence[Item], /) -> list[Item]:
    """The items, the first of them with a heading: no column ends with a heading and nothing under it."""
    top = heading(words)
    if not items:
        return [top]
    first, *more = items

    def draw(book: Book, ink: Ink, box: Box) -> None:
        top.draw(book, ink, Box(box.left, box.bottom + first.height_mm, box.width, top.height_mm))
        first.draw(book, ink, Box(box.left, box.bottom, box.width, first.height_mm))

    return [Item(top.height_mm + first.height_mm, draw), *more]


def note(words: str, /, *, width_mm: float, face: str = PLAIN) -> Item:
    """A paragraph."""
    lines = wrapped(words, width_mm=width_mm, size_pt=NOTE_PT, face=face)
    step = NOTE_PT * LINE_SPACING * MM_PER_PT

    def draw(book: Book, _ink: Ink, box: Box) -> None:
        for i, line in enumerate(lines):
            book.text(box.left, box.top - (i + 0.8) * step, line, size_pt=NOTE_PT, face=face)

    return Item(len(lines) * step + 1.0, draw)


def legend_row(number: str, kind: Kind, text: MapText, /, *, symbols: SymbolTable, width_mm: float) -> Item:
    """A symbol's sample, its number and its name."""
    name_left = SAMPLE_MM + 2.5
    words = texts.legend_words(number, symbols[number].name, text.language)
    lines = wrapped(words, width_mm=width_mm - name_left, size_pt=NAME_PT)
    step = NAME_PT * LINE_SPACING * MM_PER_PT
    height = max(SAMPLE_HEIGHT_MM + 0.9, len(lines) * step + 1.0)

    def draw(book: Book, ink: Ink, box: Box) -> None:
        place = Box(box.left, box.bottom + (box.height - SAMPLE_HEIGHT_MM) / 2, SAMPLE_MM, SAMPLE_HEIGHT_MM)
        _draw_sample(ink, number, kind, place, symbols=symbols, scale=text.scale)
        first = box.bottom + box.height / 2 + (len(lines) - 1) * step / 2 - NAME_PT * MM_PER_PT * 0.36
        for i, line in enumerate(lines):
            book.text(box.left + name_left, first - i * step, line, size_pt=NAME_PT)

    return Item(height, draw)


def _draw_sample(ink: Ink, number: str, kind: Kind, place: Box, *, symbols: SymbolTable, scale: int) -> None:
    """The symbol as it is drawn on the map, with what it never stands without."""
    nothing = np.array([np.nan])
    for part, shape in samples(number, kind, place, enlarge=enlargement(scale)):
        geometry = np.array([shape], object)
        draw_marks(ink, Marks(symbols[part], kind, geometry, nothing, nothing, enlargement(scale)))
        if symbols[part].fill == "white" and kind == "area":
            ink.stroke(Plate.BLACK, tint("black"), geometry, line_mm=WHITE_RIM_MM)


def scale_bar(scale: float, language: Language, /) -> Item:
    """A bar in parts, its length in metres, and what a centimetre is."""

    def draw(book: Book, _ink: Ink, box: Box) -> None:
        draw_scale_bar(book, box.left + 1.0, box.bottom + 4.5, scale=scale)
        words = language.say(texts.CENTIMETRE, metres=language.number(scale / 100, decimals=0))
        book.text(box.left, box.bottom + 0.8, words, size_pt=NOTE_PT)

    return Item(13.0, draw)


def draw_scale_bar(book: Book, left_mm: float, bottom_mm: float, /, *, scale: float) -> None:
    """The bar itself, measured right at the scale given."""
    length_m = bar_length_m(scale)
    part = length_m * 1000 / scale / BAR_PARTS
    for i in range(BAR_PARTS):
        filled = tint("black") if i % 2 == 0 else tint("white")
        book.box(Box(left_mm + i * part, bottom_mm, part, 1.4), fill=filled, line_mm=0.1)
    for i in (0, 1, BAR_PARTS):
        unit = " m" if i == BAR_PARTS else ""
        words = f"{length_m * i / BAR_PARTS:g}{unit}"
        book.text(left_mm + i * part, bottom_mm + 2.2, words, size_pt=NOTE_PT, align="centre")


def north_note(text: MapText, /, *, width_mm: float) -> Item:
    """An arrow to magnetic north and what it is based on."""
    lines = [
        line
        for words in (text.language.say(texts.NORTH_IS_UP), texts.declination_words(text))
        for line in wrapped(words, width_mm=width_mm - 8, size_pt=NOTE_PT)
    ]
    step = NOTE_PT * LINE_SPACING * MM_PER_PT
    height = max(13.0, len(lines) * step + 2.0)

    def draw(book: Book, _ink: Ink, box: Box) -> None:
        draw_north_arrow(book, box.left + 2.5, box.top - 12.0)
        for i, line in enumerate(lines):
            book.text(box.left + 8, box.top - 0.5 - (i + 0.8) * step, line, size_pt=NOTE_PT)

    return Item(height, draw)


def corner_table(place: Place, language: Language, /, *, width_mm: float) -> Item:
    """The corners of the frame, under words that say which coordinates these are."""
    words = wrapped(place.words(language), width_mm=width_mm, size_pt=NOTE_PT)
    step = NOTE_PT * LINE_SPACING * MM_PER_PT

    def draw(book: Book, _ink: Ink, box: Box) -> None:
        for i, line in enumerate([*words, *place.lines(language)]):
            book.text(box.left, box.top - (i + 0.8) * step, line, size_pt=NOTE_PT)

    return Item((len(words) + len(texts.CORNER_NAMES)) * step + 1.0, draw)


def fieldworker_lines(width_mm: float, language: Language, /) -> Item:
    """Lines to write on: who walked, when, which sheet, and notes."""

    def draw(book: Book, _ink: Ink, box: Box) -> None:
        draw_fieldworker(book, Box(box.left, box.bottom + 1.0, width_mm, box.height - 3.0), language)

    return Item(20.0, draw)


def draw_fieldworker(book: Book, box: Box, language: Language, /) -> None:
    """Rows of labelled lines in a box: name; date and sheet; notes."""
    half = box.width / 2
    rows = [
        [(texts.FIELDWORKER, box.left, box.width)],
        [(texts.FIELD_DATE, box.left, half - 1), (texts.FIELD_SHEET, box.left + half, half)],
        [(texts.FIELD_NOTES, box.left, box.width)],
    ]
    for i, row in enumerate(rows, 1):
        up = box.top - i * box.height / len(rows)
        for label, left, width in row:
            words = language.say(label)
            book.text(left, up + 0.4, words, size_pt=NOTE_PT)
            start = left + text_width_mm(words, size_pt=NOTE_PT) + 1.0
            book.box(Box(start, up, left + width - start, 0.0), line_mm=0.1)


def draw_north_arrow(book: Book, right_mm: float, up_mm: float, /) -> None:
    """A slender arrow, upright, 11 mm long."""
    canvas = book.canvas
    mm = 72 / 25.4
    path = canvas.beginPath()
    path.moveTo(right_mm * mm, (up_mm + 11) * mm)
    path.lineTo((right_mm - 1.5) * mm, (up_mm + 6.5) * mm)
    path.lineTo((right_mm + 1.5) * mm, (up_mm + 6.5) * mm)
    path.close()
    canvas.setFillColorCMYK(*tint("blue"))
    canvas.drawPath(path, stroke=0, fill=1)
    book.box(Box(right_mm - 0.15, up_mm, 0.3, 7.0), fill=tint("blue"))


def draw_title(book: Book, text: MapText, title: Box, /, *, part: str, scale: float) -> None:
    """Name of the area, scale and contour interval, and the DRAFT mark."""
    say = text.language.say
    stamp = Box(title.right - 26, title.top - 8.2, 26, 8.2)
    room = title.width - stamp.width - 4
    name, size = fitted_name(text.name, room_mm=room)
    book.text(title.left, title.top - 5.6, name, size_pt=size, face=BOLD)
    facts = "   ".join(texts.title_facts(text, part=part, scale=scale))
    free = title.width - text_width_mm(say(texts.NOT_CHECKED), size_pt=NOTE_PT) - 4
    size = FACTS_PT * min(1.0, free / text_width_mm(facts, size_pt=FACTS_PT))
    book.text(title.left, title.bottom + 1.5, facts, size_pt=size)
    book.box(stamp, line_mm=0.5, colour=DRAFT_COLOUR)
    middle, word = stamp.left + stamp.width / 2, say(texts.DRAFT)
    size = STAMP_PT * min(1.0, (stamp.width - 3.0) / text_width_mm(word, size_pt=STAMP_PT, face=BOLD))
    book.text(middle, stamp.bottom + 2.4, word, size_pt=size, face=BOLD, align="centre", colour=DRAFT_COLOUR)
    book.text(
        title.right, title.bottom + 1.5, say(texts.NOT_CHECKED), size_pt=NOTE_PT, align="right", colour=DRAFT_COLOUR
    )


def fitted_name(name: str, /, *, room_mm: float) -> tuple[str, float]:
    """The name and the size in points at which it fits; a very long one is cut short."""
    size = TITLE_PT * min(1.0, room_mm / text_width_mm(name, size_pt=TITLE_PT, face=BOLD))
    if size >= SMALLEST_TITLE_PT:
        return name, size
    while text_width_mm(f"{name}…", size_pt=SMALLEST_TITLE_PT, face=BOLD) > room_mm:
        name = name[:-1]
    return f"{name}…", SMALLEST_TITLE_PT


def draw_foot(book: Book, text: MapText, foot: Box, place: Place, /, *, legend: str) -> None:
    """Foot of a part sheet: scale bar, lines to write on, and in words north, sources and corners.

    `legend` says where the legend is. Words that would run over the foot are set smaller, down to the smallest size,
    and what runs over it even then is left out, the last first.
    """
    draw_scale_bar(book, foot.left + 1, foot.top - 6, scale=text.scale)
    draw_fieldworker(book, Box(foot.left, foot.bottom + 1, LONGEST_BAR_MM + 4, foot.height - 10), text.language)
    room = Box(foot.left + LONGEST_BAR_MM + 10, foot.bottom, foot.width - LONGEST_BAR_MM - 10, foot.height)
    language, say = text.language, text.language.say
    words = [say(texts.NOT_FOR_USE), f"{text.survey_line} {say(legend)}", texts.declination_words(text)]
    words += [f"{say(texts.CORNERS)}: {place.words(language)}", ";  ".join(place.lines(language))]
    for size in FOOT_PT:
        lines = [line for word in words for line in wrapped(word, width_mm=room.width, size_pt=size)]
        step = size * LINE_SPACING * MM_PER_PT
        if len(lines) * step <= room.height:
            break
    for i, line in enumerate(lines[: int(room.height / step)]):
        book.text(room.left, room.top - (i + 0.9) * step, line, size_pt=size)


def draw_panel(book: Book, sheet: Sheet, items: Sequence[Item], columns: Sequence[Sequence[int]], /) -> Ink:
    """The panel's items in its columns; returns the ink of the legend's samples, in millimetres of the page."""
    ink = Ink()
    for column, indices in zip(sheet.columns, columns, strict=False):
        top = column.top
        for index in indices:
            height = items[index].height_mm
            items[index].draw(book, ink, Box(column.left, top - height, column.width, height))
            top -= height
    return ink
