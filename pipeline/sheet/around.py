"""What stands directly around the map: its frame with the ticks of the grid, and which sheet lies where."""

from __future__ import annotations

from collections.abc import Sequence

from affine import Affine

from pipeline.sheet import texts
from pipeline.sheet.page.colours import Cmyk, tint
from pipeline.sheet.page.letters import BOLD, text_width_mm
from pipeline.sheet.page.page import TICKS_MM, Box, Sheet
from pipeline.sheet.page.pdf import Book
from pipeline.sheet.page.position import Tick, ticks
from pipeline.words.language import Language

TICK_MM = 1.5
"""Length of a tick outside the frame."""
FIGURES_PT = 4.5
"""Size of the figures at the ticks: small, as they are read seldom."""
FIGURES_MM = 2.8
"""Distance from the frame to the middle of the figures."""
FRAME_MM = 0.1
GREY: Cmyk = tint("black", 70)
"""Colour of the frame and its figures, less than the black of the map."""
PART_COLOUR = tint("purple")


def draw_frame(book: Book, sheet: Sheet, page_from_ground: Affine, /, *, step_m: int) -> None:
    """The frame of a page's map, the ticks of the grid outside it, and their eastings and northings."""
    book.box(sheet.window, line_mm=FRAME_MM, colour=GREY)
    last: dict[str, float] = {}
    for tick in ticks(sheet, page_from_ground, step_m):
        end = tick.place_mm[0] + TICK_MM * tick.way[0], tick.place_mm[1] + TICK_MM * tick.way[1]
        book.line(tick.place_mm, end, line_mm=FRAME_MM, colour=GREY)
        _draw_figures(book, tick, last)


def _draw_figures(book: Book, tick: Tick, last: dict[str, float]) -> None:
    """The figures of a tick along its edge, left out where they would run into the ones before."""
    upright = tick.side in ("left", "right")
    along = tick.place_mm[1] if upright else tick.place_mm[0]
    width = text_width_mm(tick.words, size_pt=FIGURES_PT)
    if along - last.get(tick.side, -1e9) < 1.2 * width:
        return
    last[tick.side] = along
    way = {"left": (-1, 0), "right": (1, 0), "bottom": (0, -1), "top": (0, 1)}[tick.side]
    middle = tick.place_mm[0] + FIGURES_MM * way[0], tick.place_mm[1] + FIGURES_MM * way[1]
    book.turned_text(*middle, tick.words, size_pt=FIGURES_PT, turn_deg=90.0 if upright else 0.0, colour=GREY)


def draw_caption(book: Book, enlarged: Box, language: Language, /, *, scale: float) -> None:
    """The words above the enlargement of a small map."""
    words = language.say(texts.ENLARGED_MAP, scale=language.scale(scale))
    middle = enlarged.left + enlarged.width / 2
    book.text(middle, enlarged.top + TICKS_MM + 1.0, words, size_pt=6.2, align="centre")


def shown_part(part: Sheet, /) -> tuple[float, float, float, float]:
    """West, south, east and north of the map a page shows, millimetres of the map."""
    left, bottom = part.map_corner_mm
    return left, bottom, left + part.window.width / part.magnify, bottom + part.window.height / part.magnify


def draw_part_frames(book: Book, first: Sheet, parts: Sequence[Sheet], /) -> None:
    """Frames and numbers of the sheets on the overview."""
    for number, part in enumerate(parts, 1):
        left, bottom, right, top = shown_part(part)
        corner = first.page_from_map @ (left, bottom)
        box = Box(*corner, (right - left) * first.magnify, (top - bottom) * first.magnify)
        book.box(box, line_mm=0.3, colour=PART_COLOUR)
        book.text(box.left + 1.5, box.top - 5, str(number), size_pt=12, face=BOLD, colour=PART_COLOUR)


def draw_index(book: Book, parts: Sequence[Sheet], number: int, room: Box, /) -> None:
    """How the sheets lie beside each other, small, this one filled: what to take up next where the map ends."""
    shown = [shown_part(part) for part in parts]
    west, south = min(part[0] for part in shown), min(part[1] for part in shown)
    east, north = max(part[2] for part in shown), max(part[3] for part in shown)
    scale = min(room.width / (east - west), room.height / (north - south))
    for i, (left, bottom, right, top) in enumerate(shown, 1):
        corner = room.left + (left - west) * scale, room.bottom + (bottom - south) * scale
        box = Box(*corner, (right - left) * scale, (top - bottom) * scale)
        fill = tint("purple", 30) if i == number else None
        book.box(box, line_mm=0.1, colour=PART_COLOUR, fill=fill)
        middle = box.left + box.width / 2, box.bottom + box.height / 2 - 0.7
        book.text(*middle, str(i), size_pt=5.5, align="centre", colour=PART_COLOUR)
