"""What stands beside the map: title, scale bar, north, legend, cautions and sources.

Required by ISOM 2017-2, 2.13 (from memory): scale, contour interval, north lines; recommended: scale bar, norm, year
and source of the survey, declination. The DRAFT mark and the cautions are ours: nobody has walked this map yet.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.norm.paper import enlargement
from pipeline.norm.symbols import Kind, SymbolTable
from pipeline.sheet.legend import SAMPLE_HEIGHT_MM, SAMPLE_MM, sample
from pipeline.sheet.page.colours import Plate, tint
from pipeline.sheet.page.ink import Ink
from pipeline.sheet.page.letters import BOLD, PLAIN, text_width_mm, wrapped
from pipeline.sheet.page.north import MagneticNorth
from pipeline.sheet.page.page import Box, Sheet
from pipeline.sheet.page.pdf import Book
from pipeline.sheet.symbols.marks import Marks
from pipeline.sheet.symbols.symbol import draw_marks

NORM = "ISOM 2017-2"
CAUTIONS = (
    "DRAFT, not field-checked, not for navigation or competition.",
    "Made from airborne lidar alone: everything here is a proposal to be confirmed, moved or rejected on foot. "
    "Cliffs, water, wires, and private and protected land need local knowledge. "
    "Follow local rules and the land owner's permission.",
)
NAME_PT, NOTE_PT, TITLE_PT, SMALLEST_TITLE_PT = 7.0, 6.2, 15.0, 8.0
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
class MapText:
    """What is said about the map."""

    name: str
    scale: int
    contour_interval_m: float
    map_date: datetime.date
    survey_line: str
    north: MagneticNorth
    least_confidence: float = 0.0


@dataclass(frozen=True)
class Item:
    """Something in the panel: its height, and how it is drawn into a box of that height."""

    height_mm: float
    draw: Callable[[Book, Ink, Box], None]


def bar_length_m(scale: float, /) -> int:
    """Length of the scale bar on the ground: the longest round one that fits."""
    return max(
        length for length in BAR_LENGTHS_M if length == BAR_LENGTHS_M[0] or length * 1000 / scale <= LONGEST_BAR_MM
    )


def panel_items(
    text: MapText, /, *, shown: Sequence[tuple[str, Kind]], symbols: SymbolTable, width_mm: float, scale: float
) -> list[Item]:
    """The panel from top to bottom. `scale` is that of the map beside it, which an overview reduces."""
    items = [scale_bar(scale), north_note(text, width_mm=width_mm), heading("Legend")]
    items += [legend_row(number, kind, symbols=symbols, scale=text.scale, width_mm=width_mm) for number, kind in shown]
    items += [heading("Caution"), note(CAUTIONS[0], width_mm=width_mm, face=BOLD), note(CAUTIONS[1], width_mm=width_mm)]
    items += [heading("Survey"), *(note(words, width_mm=width_mm) for words in _sources(text))]
    return items


def _sources(text: MapText) -> list[str]:
    left_out = f"Features less sure than {text.least_confidence:g} are left out. " if text.least_confidence else ""
    return [
        text.survey_line,
        f"{left_out}Drawn to {NORM} at 1:{_thousands(text.scale)} by Tussock for {text.map_date.isoformat()}. "
        "Colours of the norm in CMYK with simulated overprint.",
    ]


def heading(words: str, /) -> Item:
    """A small heading with air above it."""

    def draw(book: Book, _ink: Ink, box: Box) -> None:
        book.text(box.left, box.bottom + 1.2, words, size_pt=NAME_PT + 0.5, face=BOLD)

    return Item(6.0, draw)


def note(words: str, /, *, width_mm: float, face: str = PLAIN) -> Item:
    """A paragraph."""
    lines = wrapped(words, width_mm=width_mm, size_pt=NOTE_PT, face=face)
    step = NOTE_PT * LINE_SPACING * MM_PER_PT

    def draw(book: Book, _ink: Ink, box: Box) -> None:
        for i, line in enumerate(lines):
            book.text(box.left, box.top - (i + 0.8) * step, line, size_pt=NOTE_PT, face=face)

    return Item(len(lines) * step + 1.0, draw)


def legend_row(number: str, kind: Kind, /, *, symbols: SymbolTable, scale: int, width_mm: float) -> Item:
    """A symbol's sample, its number and its name."""
    symbol = symbols[number]
    name_left = SAMPLE_MM + 2.5
    lines = wrapped(f"{number}  {symbol.name}", width_mm=width_mm - name_left, size_pt=NAME_PT)
    step = NAME_PT * LINE_SPACING * MM_PER_PT
    height = max(SAMPLE_HEIGHT_MM + 0.9, len(lines) * step + 1.0)

    def draw(book: Book, ink: Ink, box: Box) -> None:
        place = Box(box.left, box.bottom + (box.height - SAMPLE_HEIGHT_MM) / 2, SAMPLE_MM, SAMPLE_HEIGHT_MM)
        geometry = np.array([sample(kind, place, number=number)], object)
        nothing = np.array([np.nan])
        draw_marks(ink, Marks(symbol, kind, geometry, nothing, nothing, enlargement(scale)))
        if symbol.fill == "white" and kind == "area":
            ink.stroke(Plate.BLACK, tint("black"), geometry, line_mm=WHITE_RIM_MM)
        first = box.bottom + box.height / 2 + (len(lines) - 1) * step / 2 - NAME_PT * MM_PER_PT * 0.36
        for i, line in enumerate(lines):
            book.text(box.left + name_left, first - i * step, line, size_pt=NAME_PT)

    return Item(height, draw)


def scale_bar(scale: float, /) -> Item:
    """A bar in parts, its length in metres, and what a centimetre is."""

    def draw(book: Book, _ink: Ink, box: Box) -> None:
        draw_scale_bar(book, box.left + 1.0, box.bottom + 4.5, scale=scale)
        book.text(box.left, box.bottom + 0.8, f"1 cm on the map is {scale / 100:.0f} m", size_pt=NOTE_PT)

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
        line for words in north_lines_text(text) for line in wrapped(words, width_mm=width_mm - 8, size_pt=NOTE_PT)
    ]
    step = NOTE_PT * LINE_SPACING * MM_PER_PT
    height = max(13.0, len(lines) * step + 2.0)

    def draw(book: Book, _ink: Ink, box: Box) -> None:
        draw_north_arrow(book, box.left + 2.5, box.top - 12.0)
        for i, line in enumerate(lines):
            book.text(box.left + 8, box.top - 0.5 - (i + 0.8) * step, line, size_pt=NOTE_PT)

    return Item(height, draw)


def north_lines_text(text: MapText, /) -> list[str]:
    """Declination with its model, date, place and error, and the angle to the grid."""
    north = text.north
    return [
        "Magnetic north is up; lines every 300 m.",
        f"Declination {_east_west(north.declination_deg)} ± {north.error_deg:.1f}°, {_east_west(north.grid_deg)} of "
        f"grid north. {north.model}, {north.date.isoformat()}, {_place(north)}.",
    ]


def _east_west(angle_deg: float) -> str:
    return f"{abs(angle_deg):.1f}° {'east' if angle_deg >= 0 else 'west'}"


def _place(north: MagneticNorth) -> str:
    latitude = f"{abs(north.latitude_deg):.3f}°{'N' if north.latitude_deg >= 0 else 'S'}"
    return f"{latitude} {abs(north.longitude_deg):.3f}°{'E' if north.longitude_deg >= 0 else 'W'}"


def _thousands(number: float) -> str:
    return f"{number:,.0f}".replace(",", " ")


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
    stamp = Box(title.right - 26, title.top - 8.2, 26, 8.2)
    room = title.width - stamp.width - 4
    name, size = fitted_name(text.name, room_mm=room)
    book.text(title.left, title.top - 5.6, name, size_pt=size, face=BOLD)
    reduced = scale > text.scale * 1.001
    shown = f"Overview, about 1:{_thousands(round(scale, -2))}" if reduced else f"1:{_thousands(scale)}"
    facts = [shown, f"contour interval {text.contour_interval_m:g} m", NORM, text.map_date.isoformat(), part]
    book.text(title.left, title.bottom + 1.5, "   ".join(fact for fact in facts if fact), size_pt=8.5)
    book.box(stamp, line_mm=0.5, colour=DRAFT_COLOUR)
    middle = stamp.left + stamp.width / 2
    book.text(middle, stamp.bottom + 2.4, "DRAFT", size_pt=14, face=BOLD, align="centre", colour=DRAFT_COLOUR)
    book.text(title.right, title.bottom + 1.5, "not field-checked", size_pt=NOTE_PT, align="right", colour=DRAFT_COLOUR)


def fitted_name(name: str, /, *, room_mm: float) -> tuple[str, float]:
    """The name and the size in points at which it fits; a very long one is cut short."""
    size = TITLE_PT * min(1.0, room_mm / text_width_mm(name, size_pt=TITLE_PT, face=BOLD))
    if size >= SMALLEST_TITLE_PT:
        return name, size
    while text_width_mm(f"{name}…", size_pt=SMALLEST_TITLE_PT, face=BOLD) > room_mm:
        name = name[:-1]
    return f"{name}…", SMALLEST_TITLE_PT


def draw_foot(book: Book, text: MapText, foot: Box, /) -> None:
    """Foot of a part sheet: scale bar, north and source in two lines; the legend is on the first page."""
    draw_scale_bar(book, foot.left + 1, foot.bottom + 5, scale=text.scale)
    left = foot.left + 62
    words = [CAUTIONS[0], *north_lines_text(text)[1:], f"{text.survey_line} Legend on page 1."]
    lines = [line for word in words for line in wrapped(word, width_mm=foot.right - left, size_pt=NOTE_PT)]
    for i, line in enumerate(lines):
        book.text(left, foot.top - (i + 0.9) * NOTE_PT * LINE_SPACING * MM_PER_PT, line, size_pt=NOTE_PT)


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
