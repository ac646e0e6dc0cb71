"""Drawing features of one symbol the way the symbol table names."""

from __future__ import annotations

from pipeline.sheet.page.ink import Ink
from pipeline.sheet.symbols.areas import AREA_DRAWINGS
from pipeline.sheet.symbols.lines import LINE_DRAWINGS
from pipeline.sheet.symbols.marks import Marks
from pipeline.sheet.symbols.points import POINT_DRAWINGS

DRAWINGS = {"point": POINT_DRAWINGS, "line": LINE_DRAWINGS, "area": AREA_DRAWINGS}


def draw_marks(ink: Ink, marks: Marks, /) -> None:
    """Draw features of one symbol as the symbol table says.

    Raises
    ------
    ValueError
        If the symbol is not drawn with geometries of that kind.
    """
    draw = DRAWINGS[marks.kind].get(marks.symbol.drawing)
    if draw is None:
        raise ValueError(f"symbol {marks.symbol.number} cannot be drawn as {marks.kind}")
    draw(ink, marks)
