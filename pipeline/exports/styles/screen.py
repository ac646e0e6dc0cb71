"""The norm's printing inks as colours of a screen."""

from __future__ import annotations

import functools

from pipeline.sheet.page.colours import Cmyk
from pipeline.sheet.page.page import Box
from pipeline.sheet.page.pdf import Book
from pipeline.sheet.picture import render_png

SWATCH_MM = 4.0
SWATCH_DPI = 50.0


@functools.cache
def screen_colour(colour: Cmyk, /) -> str:
    """A printing colour as a screen shows it, `#rrggbb`.

    There is no formula that all programs share. A swatch is rendered by the library that renders the sheet's picture,
    so that exports and sheet have the same colours.
    """
    book = Book(title="swatch", subject="")
    book.begin_page(SWATCH_MM, SWATCH_MM)
    book.box(Box(0.0, 0.0, SWATCH_MM, SWATCH_MM), fill=colour)
    book.end_page()
    picture = render_png(book.finished(), dpi=SWATCH_DPI)
    middle = picture[picture.shape[0] // 2, picture.shape[1] // 2]
    return "#" + "".join(f"{int(part):02x}" for part in middle)
